from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal
from pathlib import Path

from voicecheck.lexicon import SimpleMatcher, hot_words, load_lexicon
from voicecheck.lexicon.model import Cue, PlaceTerm, UnitRange

MakeFolder = Callable[[Mapping[str, str | bytes | None]], Path]
HEAD = "id,name,us,uk,kind_of,part_of,places,place,sets,sounds_like,notes\n"


def test_everything_arrives(folder: MakeFolder) -> None:
    lexicon = load_lexicon(folder({}), market="UK")
    assert lexicon.market == "UK"
    outer = lexicon.components["tie_rod_end_outer"]
    assert (outer.system, outer.kind_of, outer.place) == ("steering", "tie_rod_end", ("outer",))
    assert outer.names == ("outer tie rod end", "outer tie rod")
    assert lexicon.components["tie_rod_end_boot"].part_of == "tie_rod_end"
    assert lexicon.components["brake_pads"].sets == "axle set"
    assert lexicon.conditions["loose"].said == ("loose", "isn't tight")
    assert lexicon.conditions["loose"].severity == "now"
    assert [a.action for a in lexicon.actions] == ["replace", "adjust"]
    assert PlaceTerm(said="driver side", kind="side", value="right", market="UK") in lexicon.places
    assert Cue(kind="urgency", said="right away", value="now") in lexicon.cues
    assert lexicon.measures["pad_thickness"].units == (
        UnitRange(unit="mm", low=Decimal("0"), high=Decimal("15")),
        UnitRange(unit="1/32 in", low=Decimal("0"), high=Decimal("20")),
    )
    assert [g.kind for g in lexicon.grammar] == ["copula", "unit"]
    assert lexicon.fits(lexicon.conditions["loose"].fits, "tie_rod_end_outer")
    assert not lexicon.fits(lexicon.conditions["loose"].fits, "tire")


def test_names_that_are_understood_and_not_sought(folder: MakeFolder) -> None:
    rows = "fan,fan,blower|~ whirler,~airscrew,cowl,,one,,each,,\ncowl,~cowl,~shroud,,,,one,,each,,\n"
    lexicon = load_lexicon(folder({"components/cooling.csv": HEAD + rows}))
    fan = lexicon.components["fan"]
    assert fan.names == ("fan", "blower", "whirler", "airscrew")
    assert fan.unsought == {"whirler", "airscrew"}
    matcher = SimpleMatcher(lexicon)
    assert [m.id for m in matcher.match(["whirler", "airscrew", "cowl", "shroud"])] == [
        *2 * ["fan"],
        *2 * ["cowl"],
    ]
    sought = lexicon.sought()
    assert sought.components["fan"].names == ("fan", "blower")
    assert sought.components["fan"].kind_of is None  # what it is a kind of is not sought
    assert "cowl" not in sought.components
    assert sought.components["tire"] == lexicon.components["tire"]


def test_several_phrases_in_a_cell_are_several_terms(folder: MakeFolder) -> None:
    base = folder(
        {
            "cues.csv": "kind,said,value\nok,fine|good,\n",
            "places.csv": "said,kind,value,market\nall four|all round,position,front|rear,\n",
        }
    )
    lexicon = load_lexicon(base)
    assert [c.said for c in lexicon.cues] == ["fine", "good"]
    assert [(p.said, p.value) for p in lexicon.places] == [
        ("all four", "front|rear"),
        ("all round", "front|rear"),
    ]


def test_an_action_on_two_rows_is_one_term(folder: MakeFolder) -> None:
    lexicon = load_lexicon(folder({"actions.csv": "action,said\nreplace,replace\nreplace,renew|replace\n"}))
    assert [(a.action, a.said) for a in lexicon.actions] == [("replace", ("replace", "renew"))]


def test_own_rows_replace_by_id_and_add(folder: MakeFolder, overlay: MakeFolder) -> None:
    own = overlay(
        {
            "components/brakes.csv": HEAD + "caliper,brake caliper,,,,,front corners,,each,,\n",
            "components/exhaust.csv": HEAD + "back_box,back box,,,,,one,,each,bag box,\n",
            "conditions.csv": "id,name,said,fits,state,severity\nleaking,wet,wet,any,defect,later\n",
            "measures.csv": "id,name,fits,units,unit_us,unit_uk,said\n"
            "pad_thickness,pads left,brake_pads,mm 0-20,mm,mm,pad thickness\n",
            "actions.csv": "action,said\nreplace,bin it\nmonitor,watch it\n",
            "places.csv": "said,kind,value,market\nup top,qualifier,upper,\n",
            "cues.csv": "kind,said,value\nok,mint,\n",
        }
    )
    shipped = folder({})
    base, lexicon = load_lexicon(shipped), load_lexicon(shipped, own)
    caliper = lexicon.components["caliper"]
    assert (caliper.names, caliper.sets, caliper.places) == (("brake caliper",), "each", ("front corners",))
    assert list(lexicon.components) == [*base.components, "back_box"]
    assert lexicon.conditions["leaking"].said == ("wet",)
    assert list(lexicon.conditions) == list(base.conditions)
    assert lexicon.measures["pad_thickness"].units[0].high == 20
    assert [(a.action, a.said) for a in lexicon.actions] == [
        ("replace", ("replace", "replacing", "bin it")),
        ("adjust", ("adjust",)),
        ("monitor", ("watch it",)),
    ]
    assert [p.said for p in lexicon.places] == [*(p.said for p in base.places), "up top"]
    assert [c.said for c in lexicon.cues] == [*(c.said for c in base.cues), "mint"]


def test_own_row_may_point_at_shipped_ones(folder: MakeFolder, overlay: MakeFolder) -> None:
    own = overlay(
        {"components/steering.csv": HEAD + "nut,rod nut,,,,tie_rod_end_outer,front sides,,each,,\n"}
    )
    assert load_lexicon(folder({}), own).components["nut"].part_of == "tie_rod_end_outer"


def words(text: str) -> int:
    return len(text.replace(",", " ").split())


def test_hot_words_put_what_is_misheard_first_and_follow_the_market(folder: MakeFolder) -> None:
    base = folder({})
    us, uk = load_lexicon(base), load_lexicon(base, market="UK")
    assert hot_words(us, limit_tokens=99, count_tokens=words) == (
        "outer tie rod end", "ball joint", "passenger side",
    )  # fmt: skip
    assert hot_words(uk, limit_tokens=99, count_tokens=words) == (
        "outer tie rod end",
        "ball joint",
        "nearside",
    )


def test_hot_words_keep_the_limit(folder: MakeFolder) -> None:
    lexicon = load_lexicon(folder({}))
    for limit in range(10):
        chosen = hot_words(lexicon, limit_tokens=limit, count_tokens=words)
        assert words(", ".join(chosen)) <= limit
    assert hot_words(lexicon, limit_tokens=6, count_tokens=words) == ("outer tie rod end", "ball joint")


def test_hot_words_of_the_own_folder_come_first(folder: MakeFolder, overlay: MakeFolder) -> None:
    own = overlay({"hotwords.csv": "phrase,market\ngrease nipple,\nBall joint,\n"})
    lexicon = load_lexicon(folder({}), own)
    assert hot_words(lexicon, limit_tokens=99, count_tokens=words) == (
        "outer tie rod end", "grease nipple", "Ball joint", "passenger side",
    )  # fmt: skip
