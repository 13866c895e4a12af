"""One broken folder per fault: each names its file, row and column, and nothing else."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

from voicecheck.lexicon import check_lexicon, load_lexicon
from voicecheck.records.errors import DataError

MakeFolder = Callable[[Mapping[str, str | bytes | None]], Path]

HEAD = "id,name,us,uk,kind_of,part_of,places,place,sets,sounds_like,notes\n"
CONDITIONS = "id,name,said,fits,state,severity,notes\n"
MEASURES = "id,name,fits,units,unit_us,unit_uk,said,notes\n"
PLACES = "said,kind,value,market,notes\n"
CUES = "kind,said,value,notes\n"
EXHAUST = "components/exhaust.csv"
COND, ACT, PLACE, CUE, MEAS = "conditions.csv", "actions.csv", "places.csv", "cues.csv", "measures.csv"


def test_the_good_folder_has_no_problem(folder: MakeFolder) -> None:
    assert check_lexicon(folder({})) == []


# file, its content, row, column, part of the message
ERRORS: dict[str, tuple[str, str | bytes | None, int | None, str, str]] = {
    "not UTF-8": (EXHAUST, HEAD.encode() + b"muffler,muffler \xff,,,,,one,,each,,\n", 2, "", "not UTF-8"),
    "zero byte": (EXHAUST, HEAD + "muffler,muf\x00fler,,,,,one,,each,,\n", 2, "", "zero byte"),
    "empty file": (EXHAUST, "", 1, "", "is empty"),
    "semicolons": (EXHAUST, HEAD.replace(",", ";"), 1, "", "not separated by commas"),
    "unknown column": (EXHAUST, HEAD.replace("notes", "colour"), 1, "colour", "allowed are id, name, us"),
    "missing column": (EXHAUST, HEAD.replace("sets,", ""), 1, "sets", "needed are id, name, us"),
    "column twice": (EXHAUST, HEAD.replace("notes", "us"), 1, "us", "2 times"),
    "short row": (
        EXHAUST,
        HEAD + "muffler,muffler,,,,,one,,each\n",
        2,
        "",
        "9 cells where the header has 11",
    ),
    "long row": (EXHAUST, HEAD + "muffler,muffler,,,,,one,,each,,,\n", 2, "", "12 cells"),
    "open quote": (EXHAUST, HEAD + 'muffler,"muffler,,,,,one,,each,,\n', 2, "", "quote"),
    "over-long cell": (
        EXHAUST,
        HEAD + f"muffler,muffler,,,,,one,,each,,{'x' * 20_000}\n",
        2,
        "notes",
        "20000 char",
    ),
    "over-long phrase": (COND, CONDITIONS + f"a,a,{'so ' * 16},any,,,\n", 2, "said", "too long for a phrase"),
    "empty id": (EXHAUST, HEAD + ",muffler,,,,,one,,each,,\n", 2, "id", "is empty"),
    "id not snake_case": (EXHAUST, HEAD + "Back-Box,muffler,,,,,one,,each,,\n", 2, "id", "snake_case"),
    "id too long": (EXHAUST, HEAD + f"{'a' * 70},muffler,,,,,one,,each,,\n", 2, "id", "70 characters"),
    "same id in two files": (
        EXHAUST,
        HEAD + "caliper,muffler,,,,,one,,each,,\n",
        2,
        "id",
        "already at terms/comp",
    ),
    "same condition id": (COND, CONDITIONS + "a,a,aa,any,,,\na,a,bb,any,,,\n", 3, "id", "already at"),
    "same measure id": (MEAS, MEASURES + "a,a,any,mm 0-1,mm,mm,aa,\n" * 2, 3, "id", "already at"),
    "unknown system file": ("components/boats.csv", HEAD, None, "", "not a system; allowed are brakes"),
    "empty name": (EXHAUST, HEAD + "muffler,,,,,,one,,each,,\n", 2, "name", "is empty"),
    "name without a word": (EXHAUST, HEAD + "muffler,--,,,,,one,,each,,\n", 2, "name", "no word"),
    "unknown places": (
        EXHAUST,
        HEAD + "muffler,muffler,,,,,roof,,each,,\n",
        2,
        "places",
        "allowed are corners",
    ),
    "empty places": (EXHAUST, HEAD + "muffler,muffler,,,,,,,each,,\n", 2, "places", "allowed are corners"),
    "unknown place": (
        EXHAUST,
        HEAD + "muffler,muffler,,,,,one,mid,each,,\n",
        2,
        "place",
        "allowed are inner",
    ),
    "unknown sets": (
        EXHAUST,
        HEAD + "muffler,muffler,,,,,one,,box,,\n",
        2,
        "sets",
        "allowed are axle set, pair",
    ),
    "kind_of nowhere": (
        EXHAUST,
        HEAD + "muffler,muffler,,,pipe,,one,,each,,\n",
        2,
        "kind_of",
        "no component “pipe”",
    ),
    "part_of nowhere": (
        EXHAUST,
        HEAD + "muffler,muffler,,,,pipe,one,,each,,\n",
        2,
        "part_of",
        "no component “pipe”",
    ),
    "fits nowhere": (COND, CONDITIONS + "a,a,aa,pipe,,,\n", 2, "fits", "no component “pipe”"),
    "fits no system": (COND, CONDITIONS + "a,a,aa,system:boats,,,\n", 2, "fits", "allowed are brakes"),
    "measure fits nowhere": (
        MEAS,
        MEASURES + "a,a,pipe,mm 0-1,mm,mm,aa,\n",
        2,
        "fits",
        "no component “pipe”",
    ),
    "empty fits": (COND, CONDITIONS + "a,a,aa,,,,\n", 2, "fits", "is empty"),
    "kind_of itself": (
        EXHAUST,
        HEAD + "muffler,muffler,,,muffler,,one,,each,,\n",
        2,
        "kind_of",
        "loop: muffler → muf",
    ),
    "condition without a name": (COND, CONDITIONS + "a,,aa,any,,,\n", 2, "name", "is empty"),
    "unknown state": (
        COND,
        CONDITIONS + "a,a,aa,any,worn,,\n",
        2,
        "state",
        "allowed are defect, missing, ok",
    ),
    "unknown severity": (COND, CONDITIONS + "a,a,aa,any,,today,\n", 2, "severity", "allowed are now, soon"),
    "condition not said": (COND, CONDITIONS + "a,a,,any,,,\n", 2, "said", "is empty"),
    "unknown action": (ACT, "action,said\nbin,bin it\n", 2, "action", "allowed are replace"),
    "action not said": (ACT, "action,said\nreplace,|\n", 2, "said", "is empty"),
    "unknown place kind": (PLACE, PLACES + "up,height,up,,\n", 2, "kind", "allowed are position"),
    "unknown position": (
        PLACE,
        PLACES + "up,position,front left|top,,\n",
        2,
        "value",
        "allowed are front left",
    ),
    "two values": (PLACE, PLACES + "up,side,left|right,,\n", 2, "value", "one value"),
    "empty place value": (PLACE, PLACES + "up,side,,,\n", 2, "value", "is empty"),
    "unknown engine place": (
        PLACE,
        PLACES + "bank zero,engine,bank 0,,\n",
        2,
        "value",
        "not a value of the kind engine",
    ),
    "unknown market": (PLACE, PLACES + "up,side,left,FR,\n", 2, "market", "allowed are US, UK"),
    "place with two meanings": (
        PLACE,
        PLACES + "up,side,left,,\nup,side,right,,\n",
        3,
        "said",
        "at terms/places.csv:2",
    ),
    "unknown cue kind": (CUE, CUES + "shout,hey,,\n", 2, "kind", "allowed are hedge"),
    "unknown negation": (CUE, CUES + "negation,hey,up,\n", 2, "value", "allowed are before, after"),
    "unknown urgency": (CUE, CUES + "urgency,hey,unstated,\n", 2, "value", "allowed are now, soon, later"),
    "unknown advice": (CUE, CUES + "advice,hey,bin,\n", 2, "value", "allowed are (empty), replace"),
    "quantity not a number": (CUE, CUES + "quantity,hey,two,\n", 2, "value", "not a number"),
    "vehicle fact without a name": (CUE, CUES + "vehicle,hey,,\n", 2, "value", "is empty"),
    "cue not said": (CUE, CUES + "hedge,,suspect,\n", 2, "said", "is empty"),
    "no units": (MEAS, MEASURES + "a,a,any,,mm,mm,aa,\n", 2, "units", "is empty"),
    "unknown unit": (MEAS, MEASURES + "a,a,any,ell 0-1,mm,mm,aa,\n", 2, "units", "allowed are mm"),
    "no range": (MEAS, MEASURES + "a,a,any,mm,mm,mm,aa,\n", 2, "units", "not a unit and a range"),
    "range upside down": (MEAS, MEASURES + "a,a,any,mm 5-1,mm,mm,aa,\n", 2, "units", "from high to low"),
    "two ranges": (MEAS, MEASURES + "a,a,any,mm 0-1|mm 0-2,mm,mm,aa,\n", 2, "units", "two ranges"),
    "unit without a range": (MEAS, MEASURES + "a,a,any,mm 0-1,in,mm,aa,\n", 2, "unit_us", "no range"),
    "unknown market unit": (MEAS, MEASURES + "a,a,any,mm 0-1,mm,ell,aa,\n", 2, "unit_uk", "allowed are mm"),
    "measure without a name": (MEAS, MEASURES + "a,,any,mm 0-1,mm,mm,aa,\n", 2, "name", "is empty"),
    "spelling of two words": ("spellings.csv", "us,uk\ntire,ty re\n", 2, "uk", "more than one word"),
    "empty contraction": ("contractions.csv", "short,long\nisn't,\n", 2, "long", "is empty"),
    "hot word of no market": ("hotwords.csv", "phrase,market\njoint,FR\n", 2, "market", "allowed are US, UK"),
    "grammar of no kind": ("grammar.csv", "kind,said,value\n,is,\n", 2, "kind", "is empty"),
    "grammar of an unknown kind": (
        "grammar.csv",
        "kind,said,value\ncopulla,is,\n",
        2,
        "kind",
        "“copulla” is not a kind of closed-class word; allowed are absence, article",
    ),
    "grammar of no unit": ("grammar.csv", "kind,said,value\nunit,ell,ell\n", 2, "value", "allowed are mm"),
    "missing file": (CUE, None, None, "", "is missing"),
}


@pytest.mark.parametrize("case", ERRORS)
def test_error(folder: MakeFolder, case: str) -> None:
    file, content, row, column, message = ERRORS[case]
    base = folder({file: content})
    found = [p for p in check_lexicon(base) if p.severity == "error"]
    assert len(found) == 1, found
    (problem,) = found
    assert (problem.file, problem.row, problem.field) == (f"terms/{file}", row, column)
    assert message in problem.message
    with pytest.raises(DataError) as caught:
        load_lexicon(base)
    assert problem in caught.value.problems
    assert str(problem) in caught.value.message


# file, its content, row, column, part of the message
WARNINGS: dict[str, tuple[str, str, int | None, str, str]] = {
    "stray file": ("brakes.csv", HEAD, None, "", "belong in components/"),
    "unknown file": ("parts.csv", HEAD, None, "", "known are components/SYSTEM.csv, conditions.csv"),
    "sheet not saved as CSV": ("components/brakes.xlsx", "x", None, "", "save the sheet"),
    "hyphen": (
        EXHAUST,
        HEAD + "back_box,back box,back-box,,,,one,,each,,\n",
        2,
        "name",
        "“back-box” is understood",
    ),
    "run together": (
        EXHAUST,
        HEAD + "back_box,back box,,backbox,,,one,,each,,\n",
        2,
        "name",
        "“backbox” is underst",
    ),
    "plural": (
        EXHAUST,
        HEAD + "back_box,back box,back boxes,,,,one,,each,,\n",
        2,
        "name",
        "“back boxes” is underst",
    ),
    "condition is an action": (COND, CONDITIONS + "a,a,adjust,any,,,\n", 2, "said", "also the action adjust"),
    "condition is a cue": (COND, CONDITIONS + "a,a,no,any,,,\n", 2, "said", "also a cue (negation)"),
    "action is a cue": (ACT, "action,said\nreplace,right away\n", 2, "said", "also a cue (urgency)"),
    "component is a place": (
        EXHAUST,
        HEAD + "front,front,,,,,one,,each,,\n",
        2,
        "name",
        "also a place (axle)",
    ),
    "component is a cue": (EXHAUST, HEAD + "no,NO,,,,,one,,each,,\n", 2, "name", "also a cue (negation)"),
    "component is a condition": (
        EXHAUST,
        HEAD + "loose,loose,,,,,one,,each,,\n",
        2,
        "name",
        "also the condition",
    ),
    "place listed twice": (
        PLACE,
        PLACES + "up,side,left,,\nUp,side,left,,\n",
        3,
        "said",
        "at terms/places.csv:2",
    ),
    "place of two kinds": (
        PLACE,
        PLACES + "up,side,left,,\nup,axle,front,,\n",
        3,
        "said",
        "at terms/places.csv:2",
    ),
    "cue listed twice": (CUE, CUES + "ok,fine,,\nok,Fine.,,\n", 3, "said", "already at terms/cues.csv:2"),
    "cue with two values": (
        CUE,
        CUES + "urgency,asap,now,\nurgency,asap,soon,\n",
        3,
        "said",
        "“soon”, at terms",
    ),
    "one phrase, two conditions": (
        COND,
        CONDITIONS + "a,a,x,any,,,\nb,b,x,any,,,\n",
        3,
        "said",
        "also means a",
    ),
}


@pytest.mark.parametrize("case", WARNINGS)
def test_warning(folder: MakeFolder, case: str) -> None:
    file, content, row, column, message = WARNINGS[case]
    base = folder({file: content})
    found = check_lexicon(base)
    assert len(found) == 1, found
    (problem,) = found
    assert (problem.severity, problem.file, problem.row, problem.field) == (
        "warning",
        f"terms/{file}",
        row,
        column,
    )
    assert message in problem.message
    load_lexicon(base)  # a doubt does not stop the work


def test_all_faults_come_at_once_and_in_order(folder: MakeFolder) -> None:
    found = check_lexicon(
        folder(
            {
                ACT: "action,said\nbin,bin it\nreplace,\n",
                CUE: 'kind,said,value\nshout,hey,\nhedge,"a"b,suspect\nnegation,nope,up\n',
                "measures.csv": None,
                EXHAUST: b"\xff\xfe",
            }
        )
    )
    assert [(p.file.removeprefix("terms/"), p.row) for p in found] == [
        (ACT, 2), (ACT, 3), (EXHAUST, 1), (CUE, 2), (CUE, 3), (CUE, 4), (MEAS, None),
    ]  # fmt: skip


def test_rows_are_counted_as_a_spreadsheet_shows_them(folder: MakeFolder) -> None:
    text = (
        "\ufeff# our exhaust parts,,\n"
        + HEAD
        + '\n# spare,,\nmuffler,muffler,,,,,one,,each,,"two\nlines"\nX,x,,,,,one,,each,,\n'
    )
    (problem,) = check_lexicon(folder({EXHAUST: text}))
    assert (problem.row, problem.field) == (7, "id")


def test_loops_are_named_from_each_member(folder: MakeFolder) -> None:
    rows = "a,a,,,b,,one,,each,,\nb,b,,,c,,one,,each,,\nc,c,,,a,,one,,each,,\nd,d,,,a,,one,,each,,\n"
    found = check_lexicon(folder({EXHAUST: HEAD + rows}))
    assert [(p.row, p.field, p.message) for p in found] == [
        (2, "kind_of", "is a loop: a → b → c → a"),
        (3, "kind_of", "is a loop: b → c → a → b"),
        (4, "kind_of", "is a loop: c → a → b → c"),
    ]
    parts = check_lexicon(folder({EXHAUST: HEAD + "a,a,,,,b,one,,each,,\nb,b,,,,a,one,,each,,\n"}))
    assert [(p.row, p.field) for p in parts] == [(2, "part_of"), (3, "part_of")]


@pytest.mark.parametrize(
    ("one", "other", "market"),
    [
        ("gizmo,gizmo,,", "widget,widget,gizmo,", "US"),
        ("gizmo,gizmo,,", "widget,widget,,gizmo", "UK"),
        ("gizmo,gizmo,thing,", "widget,widget,thing,", "US"),
        ("gizmo,gizmo,back box,", "widget,widget,backbox,", "US"),
        ("gizmo,gizmo,,things", "widget,widget,,thing", "UK"),
        ("gizmo,gizmo,gismo,gismo", "widget,widget,gizmo,gizmo", "US"),  # no market would be left for it
    ],
)
def test_one_name_for_two_components(folder: MakeFolder, one: str, other: str, market: str) -> None:
    rest = ",,,one,,each,,\n"
    (problem,) = check_lexicon(folder({EXHAUST: HEAD + one + rest + other + rest}))
    assert (problem.severity, problem.field) == ("error", "name")
    assert {
        2: "also a name of widget (terms/components/exhaust.csv:3)",
        3: "also a name of gizmo (terms/components/exhaust.csv:2)",
    }[problem.row or 0] in problem.message
    assert f"in the {market} market" in problem.message


@pytest.mark.parametrize(
    ("one", "other", "link"),
    [
        ("gizmo,gizmo,thing,", "widget,widget,,thing", ""),  # each market has its own
        ("gizmo,gizmo,,gismo", "widget,widget,,gizmo", ""),  # canonical, but with a word of its own in the UK
        ("gizmo,gizmo,thing,", "widget,widget,thing,", "gizmo"),  # the general one owns it
    ],
)
def test_names_that_may_be_shared(folder: MakeFolder, one: str, other: str, link: str) -> None:
    text = f"{HEAD}{one},,,one,,each,,\n{other},{link},,one,,each,,\n"
    assert check_lexicon(folder({EXHAUST: text})) == []


def test_a_faulty_row_is_not_reported_again_by_what_points_at_it(folder: MakeFolder) -> None:
    rows = "muffler,,,,,,one,,each,,\ntip,tip,,,,muffler,one,,each,,\n"
    (problem,) = check_lexicon(folder({EXHAUST: HEAD + rows}))
    assert problem.row == 2


def test_an_unreadable_component_file_does_not_make_pointers_into_it_faults(folder: MakeFolder) -> None:
    (problem,) = check_lexicon(folder({"components/steering.csv": b"\xff"}))
    assert problem.file == "terms/components/steering.csv"


def test_no_such_folder(tmp_path: Path) -> None:
    (problem,) = check_lexicon(tmp_path / "nowhere")
    assert problem.message == "there is no such folder"
    with pytest.raises(DataError, match="no such folder"):
        load_lexicon(tmp_path / "nowhere")


def test_a_file_is_not_a_folder(folder: MakeFolder) -> None:
    base = folder({})
    (problem,) = check_lexicon(base / CUE)
    assert problem.message == "is not a folder"


def test_an_empty_folder(tmp_path: Path) -> None:
    found = check_lexicon(tmp_path)
    assert len(found) == 6
    assert all(p.severity == "error" for p in found)


def test_own_folder_with_nothing_usable(folder: MakeFolder, overlay: MakeFolder) -> None:
    found = check_lexicon(folder({}), overlay({"readme.md": "hello", "parts.xlsx": "x"}))
    assert [(p.severity, p.row) for p in found] == [("error", None), ("warning", None)]
    assert "holds no term file" in found[0].message


def test_no_such_own_folder(folder: MakeFolder, tmp_path: Path) -> None:
    (problem,) = check_lexicon(folder({}), tmp_path / "nowhere")
    assert (problem.severity, problem.message) == ("error", "there is no such folder")


def test_faults_of_the_own_folder_name_its_files(folder: MakeFolder, overlay: MakeFolder) -> None:
    own = overlay(
        {CUE: CUES + "shout,hey,,\n", EXHAUST: HEAD + "pad,pad,,,,,one,,each,,\npad,pad,,,,,one,,each,,\n"}
    )
    found = check_lexicon(folder({}), own)
    assert [(p.file, p.row, p.field) for p in found] == [
        ("shop/components/exhaust.csv", 2, "name"),  # "pads" is the brake pads' name
        ("shop/components/exhaust.csv", 3, "id"),
        ("shop/cues.csv", 2, "kind"),
    ]
