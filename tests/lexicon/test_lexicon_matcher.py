"""The spaCy adapter and its double, against each other and against a third, plain reading of the contract."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable, Mapping, Sequence
from functools import cache
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from voicecheck.lexicon import Lexicon, SimpleMatcher, TermMatch, TermMatcher, load_lexicon, normalise_phrase
from voicecheck.lexicon.matcher import compile_matcher
from voicecheck.lexicon.table import longest_first, phrase_table
from voicecheck.records.vocabulary import Market
from voicecheck.resources import lexicon_dir

MakeFolder = Callable[[Mapping[str, str | bytes | None]], Path]
Make = Callable[[Lexicon], TermMatcher]
MARKETS: tuple[Market, ...] = ("US", "UK")
HEAD = "id,name,us,uk,kind_of,part_of,places,place,sets,sounds_like,notes\n"


@pytest.fixture(params=[compile_matcher, SimpleMatcher], ids=["spacy", "simple"])
def make(request: pytest.FixtureRequest) -> Make:
    made: Make = request.param
    return made


@cache
def shipped(make: Make) -> TermMatcher:
    """A matcher of the shipped term files; making one takes seconds."""
    return make(load_lexicon(lexicon_dir()))


def short(matches: Sequence[TermMatch]) -> list[tuple[int, int, str, str, str]]:
    return [(m.first, m.last, m.kind, m.id, m.detail) for m in matches]


def ids(matcher: TermMatcher, text: str, kind: str = "component") -> list[str]:
    return [m.id for m in matcher.match(normalise_phrase(text)) if m.kind == kind]


def test_the_longest_of_one_kind_and_every_kind(folder: MakeFolder, make: Make) -> None:
    matcher = make(load_lexicon(folder({})))
    found = matcher.match(
        normalise_phrase("Right front outer tie rod end, isn't tight - no, sorry, leaking!")
    )
    assert short(found) == [
        (0, 2, "place", "front right", "position"),
        (2, 6, "component", "tie_rod_end_outer", ""),
        (2, 3, "place", "outer", "qualifier"),
        (6, 8, "condition", "loose", ""),
        (6, 7, "cue", "before", "negation"),
        (8, 10, "cue", "", "correction"),
        (10, 11, "condition", "leaking", ""),
    ]
    assert found[1].phrase == "outer tie rod end"


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("the clutch of the fan slips", ["fan_clutch"]),
        ("the gasket on the oil pan leaks", ["oil_pan_gasket"]),
        ("the boot on the tie rod end is torn", ["tie_rod_end_boot"]),
        ("both mounts for the engine", ["engine_mount"]),
        ("fluid in its transfer case", ["transfer_case_fluid"]),
        ("switch for the brake light", ["brake_light_switch"]),
        ("clutch of fan", ["fan_clutch"]),
        ("clutch on fan belt off", ["clutch", "serpentine_belt"]),
        ("the pads on the left rear", ["brake_pads"]),
        ("the wiper on the rear", ["wiper_blade"]),
        ("no clutch on the belt", ["clutch", "belt"]),
        ("oil on the fan", ["engine_oil", "fan"]),
        ("the clutch and the fan", ["clutch", "fan"]),
        ("the clutch of a", ["clutch"]),
    ],
)
def test_a_compound_is_known_the_other_way_round(make: Make, text: str, expected: list[str]) -> None:
    assert ids(shipped(make), text) == expected


def test_no_words_no_matches(folder: MakeFolder, make: Make) -> None:
    matcher = make(load_lexicon(folder({})))
    assert matcher.match([]) == ()
    assert matcher.match(["", "\ufffd", "nothing", "here", " "]) == ()


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        ("tie rod ends", "tie_rod_end"),
        ("weeping's", None),
        ("tie rod end's", "tie_rod_end"),
        ("tie rods end", None),
        ("tie-rod end", "tie_rod_end"),
        ("tierod end", "tie_rod_end"),
        ("balljoint", "ball_joint"),
        ("ball joint's", "ball_joint"),
        ("lower balljoints", "ball_joint_lower"),
        ("pad", "brake_pads"),
        ("brake pad", "brake_pads"),
        ("tyre", "tire"),
        ("tyres", "tire"),
        ("tyre's", "tire"),
        ("brake callipers", "caliper"),
        ("wind shield", "windshield"),
        ("wind shield's", "windshield"),
        ("wind screens", "windshield"),
        ("winds creen", None),
        ("win", None),
        ("shield", None),
    ],
)
def test_forms_of_component_names(folder: MakeFolder, make: Make, said: str, expected: str | None) -> None:
    assert ids(make(load_lexicon(folder({}))), said) == ([expected] if expected else [])


def test_the_head_noun_before_a_preposition_has_a_plural(folder: MakeFolder, make: Make) -> None:
    rows = "flap,flap on the intake,,,,,one,,each,,\n"
    matcher = make(load_lexicon(folder({"components/engine.csv": HEAD + rows})))
    assert ids(matcher, "flaps on the intake") == ["flap"]
    assert ids(matcher, "flap on the intakes") == ["flap"]


@pytest.mark.parametrize(
    ("said", "kind", "expected"),
    [
        ("isnt tight", "condition", ["loose"]),
        ("is not tight", "condition", ["loose"]),
        ("isn’t tight", "condition", ["loose"]),
        ("discoloured", "condition", ["discolored"]),
        ("is not", "cue", ["before"]),
        ("isnt", "cue", ["before"]),
        ("while we are in there", "cue", [""]),
        ("while were in there", "cue", [""]),
        ("leakings", "condition", []),
    ],
)
def test_forms_of_other_phrases(
    folder: MakeFolder, make: Make, said: str, kind: str, expected: list[str]
) -> None:
    assert ids(make(load_lexicon(folder({}))), said, kind) == expected


def test_a_lone_contraction_does_not_become_another_word(folder: MakeFolder, make: Make) -> None:
    matcher = make(load_lexicon(folder({"cues.csv": "kind,said,value\nfiller,we're,\n"})))
    assert ids(matcher, "we are", "cue") == [""]
    assert ids(matcher, "were", "cue") == []


def test_contractions_change_once_and_anywhere(folder: MakeFolder, make: Make) -> None:
    forms = "short,long\nit's,it is\nit's,it has\ndon't,do not\n"
    cues = "kind,said,value\nhedge,don't think it is,suspect\n"
    matcher = make(load_lexicon(folder({"contractions.csv": forms, "cues.csv": cues})))
    for said in ("don't think it's", "do not think it is", "dont think it is", "do not think its"):
        assert ids(matcher, said, "cue") == ["suspect"], said
    assert ids(matcher, "don't think it has", "cue") == []


def test_initials_are_joined(folder: MakeFolder, make: Make) -> None:
    rows = "abs_sensor,A B S sensor,,,,,one,,each,,\n"
    matcher = make(load_lexicon(folder({"components/engine.csv": HEAD + rows})))
    for said in ("abs sensors", "A.B.S. sensor", "a b s sensor"):
        assert ids(matcher, said) == ["abs_sensor"], said


def test_the_general_component_owns_the_bare_name(folder: MakeFolder, make: Make) -> None:
    matcher = make(load_lexicon(folder({})))  # the lower ball joint lists "ball joint" too
    assert ids(matcher, "ball joint") == ["ball_joint"]
    assert ids(matcher, "ball joints") == ["ball_joint"]
    assert ids(matcher, "lower ball joint") == ["ball_joint_lower"]


def test_the_market_settles_a_clash(folder: MakeFolder, make: Make) -> None:
    rows = "prop,prop shaft,drive shaft,,,,one,,each,,\nhalf,half shaft,,driveshaft,,,sides,,each,,\n"
    base = folder({"components/driveline.csv": HEAD + rows})
    for said in ("driveshaft", "drive shaft", "drive-shafts", "driveshafts"):
        assert ids(make(load_lexicon(base, market="US")), said) == ["prop"], said
        assert ids(make(load_lexicon(base, market="UK")), said) == ["half"], said


def test_a_canonical_name_gives_way_to_a_name_of_the_market(folder: MakeFolder, make: Make) -> None:
    rows = "prop,driveshaft,,prop shaft,,,one,,each,,\nhalf,CV axle,,driveshaft,,,sides,,each,,\n"
    base = folder({"components/driveline.csv": HEAD + rows})
    for said in ("driveshaft", "driveshafts"):
        assert ids(make(load_lexicon(base, market="US")), said) == ["prop"]
        assert ids(make(load_lexicon(base, market="UK")), said) == ["half"]
    assert ids(make(load_lexicon(base, market="US")), "propshaft") == ["prop"]


def test_names_of_both_markets_are_understood_in_either(folder: MakeFolder, make: Make) -> None:
    base = folder({})
    for market in MARKETS:
        matcher = make(load_lexicon(base, market=market))
        assert ids(matcher, "track rod end gaiter") == ["tie_rod_end_boot"]
        assert ids(matcher, "tie rod end boot") == ["tie_rod_end_boot"]


def test_places_of_a_market_apply_only_there(folder: MakeFolder, make: Make) -> None:
    base = folder({})
    assert ids(make(load_lexicon(base, market="US")), "driver side", "place") == ["left"]
    assert ids(make(load_lexicon(base, market="UK")), "driver side", "place") == ["right"]
    places = "said,kind,value,market\nkerb side,side,right,\nkerb side,side,left,UK\n"
    base = folder({"places.csv": places})
    assert ids(make(load_lexicon(base, market="US")), "kerb side", "place") == ["right"]
    assert ids(make(load_lexicon(base, market="UK")), "kerbside", "place") == ["left"]


def test_two_meanings_of_one_kind_are_both_kept(folder: MakeFolder, make: Make) -> None:
    conditions = "id,name,said,fits,state,severity\na,a,low,brake_pads,,\nb,b,low,tire,,\n"
    matcher = make(load_lexicon(folder({"conditions.csv": conditions})))
    assert ids(matcher, "low", "condition") == ["a", "b"]


def test_of_overlapping_matches_the_longest_then_the_leftmost_stays(folder: MakeFolder, make: Make) -> None:
    cues = "kind,said,value\nchatter,a b,\nclause,b c d,\nfiller,d e,\nok,e f,\n"
    matcher = make(load_lexicon(folder({"cues.csv": cues})))
    assert [(m.first, m.last) for m in matcher.match(list("abcdef"))] == [(1, 4), (4, 6)]
    assert [(m.first, m.last) for m in matcher.match(list("def"))] == [(0, 2)]


def test_a_lexicon_made_by_hand_needs_no_word_forms(folder: MakeFolder, make: Make) -> None:
    loaded = load_lexicon(folder({}))
    by_hand = Lexicon.model_validate({k: getattr(loaded, k) for k in Lexicon.model_fields})
    assert ids(make(by_hand), "tires") == ["tire"]
    assert ids(make(by_hand), "tyres") == []


@pytest.mark.parametrize("kind_of", ["a", "b"])
def test_a_loop_in_a_lexicon_made_by_hand_does_not_hang(make: Make, folder: MakeFolder, kind_of: str) -> None:
    loaded = load_lexicon(folder({}))
    one = loaded.components["tire"].model_copy(update={"id": "a", "kind_of": "b"})
    other = one.model_copy(update={"id": "b", "kind_of": kind_of})
    looped = loaded.model_copy(update={"components": {"a": one, "b": other}})
    assert "tire" in [m.phrase for m in make(looped).match(["tire"])]


def plain(lexicon: Lexicon, words: Sequence[str]) -> list[tuple[int, int, str, str, str]]:
    """The contract read off the phrase table by trying every span, longest first."""
    table = phrase_table(lexicon).phrases
    used = {w for kind in table.values() for phrase in kind for w in phrase}
    heads = {phrase[-1] for kind in ("component", "place") for phrase in table[kind]}
    words = [w[:-2] if w not in used and w.endswith("'s") and w[:-2] in heads else w for w in words]
    result = []
    for kind, phrases in table.items():
        free = [True] * len(words)
        for length in range(len(words), 0, -1):
            for first in range(len(words) - length + 1):
                span = range(first, first + length)
                entries = phrases.get(tuple(words[first : first + length]), ())
                if entries and all(free[i] for i in span):
                    for i in span:
                        free[i] = False
                    result += [(first, first + length, kind, e.id, e.detail) for e in entries]
    return sorted(result)


NOISE = (
    "um",
    "end's",
    "noise's",
    "front's",
    "rod",
    "end",
    "joint",
    "front",
    "x",
    "\ufffd",
    "isn't",
    "12.5",
    "naïve",
    "ﬁ",
)


@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(data=st.data())
def test_both_matchers_keep_the_contract(
    shared_pair: tuple[Lexicon, TermMatcher, TermMatcher], data: st.DataObject
) -> None:
    lexicon, spacy_one, simple = shared_pair
    phrases = [p for kind in phrase_table(lexicon).phrases.values() for p in kind]
    pieces = data.draw(
        st.lists(st.one_of(st.sampled_from(phrases), st.sampled_from([(w,) for w in NOISE])), max_size=8)
    )
    words = [w for piece in pieces for w in piece]
    words = words[: data.draw(st.integers(0, len(words)))]  # cuts a phrase in the middle
    found = spacy_one.match(words)
    assert found == simple.match(words)
    assert sorted(short(found)) == plain(lexicon, words)


@pytest.fixture(scope="module")
def shared_pair(good_folder: Path) -> tuple[Lexicon, TermMatcher, TermMatcher]:
    lexicon = load_lexicon(good_folder)
    return lexicon, compile_matcher(lexicon), SimpleMatcher(lexicon)


@given(st.lists(st.tuples(st.integers(0, 12), st.integers(1, 5)), max_size=12))
def test_reduced_spans_do_not_overlap_and_none_is_lost_for_nothing(raw: list[tuple[int, int]]) -> None:
    spans = [(first, first + length) for first, length in raw]
    kept = longest_first(spans, length=17)
    assert all(a[1] <= b[0] for a, b in pairwise(kept))
    for first, last in spans:
        rivals = [k for k in kept if k[0] < last and first < k[1]]
        assert any((k[0] - k[1], k[0]) <= (first - last, first) for k in rivals)


def test_only_the_adapter_loads_spacy() -> None:
    code = "import sys, voicecheck.lexicon as l; assert l.load_lexicon; sys.exit('spacy' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
