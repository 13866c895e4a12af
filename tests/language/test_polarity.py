"""How far "no", "not" and "might be" reach."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from language_kit import spoken, typed, words_of

from voicecheck.language import Reader
from voicecheck.lexicon import Lexicon
from voicecheck.lexicon.matcher import compile_matcher
from voicecheck.lexicon.model import GrammarTerm
from voicecheck.records.reading import Reading

Read = Callable[[str], Reading]


def turned(reading: Reading) -> tuple[list[str], list[str], list[str]]:
    """The words of conditions that are plainly said, denied, and doubted."""
    plain: list[str] = []
    denied: list[str] = []
    doubted: list[str] = []
    for clause in reading.clauses:
        for mark in clause.marks:
            if mark.kind == "condition":
                words = words_of(reading, mark)
                (denied if mark.negated else doubted if mark.hedged else plain).append(words)
    return plain, denied, doubted


@pytest.mark.parametrize(
    ("text", "plain", "denied"),
    [
        ("no play in the tie rod end right ball joint boot is torn", ["torn"], ["play"]),
        (
            "calipers are dry no play no rust left rear wheel cylinder is leaking",
            ["are dry", "leaking"],
            ["play", "rust"],
        ),
        ("pads are not worn the rotor is noisy", ["noisy"], ["worn"]),
    ],
)
def test_a_negation_ends_at_the_next_part_even_without_punctuation(
    read: Read, text: str, plain: list[str], denied: list[str]
) -> None:
    """The three sentences on which a general negation library lost a finding."""
    told, refused, doubted = turned(read(text))  # "dry" is fine of a seal and bad of a joint: two marks
    assert (list(dict.fromkeys(told)), refused, doubted) == (plain, denied, [])


@pytest.mark.parametrize(
    ("text", "denied"),
    [
        ("the oil pan is not leaking", ["leaking"]),
        ("the oil pan isn't leaking", ["leaking"]),
        ("the oil pan isnt leaking", ["leaking"]),
        ("no leaks at the oil pan", ["leaks"]),
        ("nothing leaking", ["leaking"]),
        ("never leaking", ["leaking"]),
        ("without any leaks", ["leaks"]),
        ("hardly any play", ["play"]),
        ("neither of them is leaking", ["leaking"]),
        ("no play or noise in the hub", ["play", "noise"]),
        ("the boot is not torn or cracked", ["torn", "cracked"]),
        ("struts are not leaking and not bent", ["leaking", "bent"]),
        ("no leaks, no play, no noise", ["leaks", "play", "noise"]),
        ("no leaks, damage or rust", ["leaks", "rust"]),
        ("the boot is not at all torn", ["torn"]),
    ],
)
def test_what_is_denied(read: Read, text: str, denied: list[str]) -> None:
    assert turned(read(text)) == ([], denied, [])


@pytest.mark.parametrize(
    ("text", "plain", "denied"),
    [
        ("it's damp, not dripping", ["damp"], ["dripping"]),
        ("oil pan gasket is damp, not dripping", ["damp"], ["dripping"]),
        ("the boot is torn, not leaking", ["torn"], ["leaking"]),
        ("not leaking but the boot is torn", ["torn"], ["leaking"]),
        ("no leaks but the boot is torn", ["torn"], ["leaks"]),
        ("no rust except the left sill is rotten", ["rotten"], ["rust"]),
        ("no leaks. The boot is torn", ["torn"], ["leaks"]),
        ("the mount isn't broken. The exhaust is blowing", ["blowing"], ["broken"]),
        ("pads aren't worn, the rotors are scored", ["scored"], ["worn"]),
        ("not leaking, just noisy", ["noisy"], ["leaking"]),
    ],
)
def test_where_a_denial_ends(read: Read, text: str, plain: list[str], denied: list[str]) -> None:
    assert turned(read(text)) == (plain, denied, [])


@pytest.mark.parametrize(
    ("text", "plain", "denied"),
    [
        # words that the lexicon does not know have used the denial up
        ("no drama there, the pads are worn", ["worn"], []),
        ("I'm not joking, the ball joint is loose", ["loose"], []),
        ("no idea why, the pads are worn on one side", ["worn on one side"], []),
        ("the thermostat isn't budging, stuck", ["stuck"], []),
        ("no drama with it and the pads are worn", ["worn"], []),
        ("the boot is not terribly pretty and it is cracked", ["cracked"], []),
        # a listed part with a statement of its own
        ("no leaks and the boot is torn", ["torn"], ["leaks"]),
        ("no play in the tie rod end and the boot is torn", ["torn"], ["play"]),
        ("no play in the tie rod end torn boot on the ball joint", ["torn"], ["play"]),
        # but not here
        ("none of the pads and rotors are worn", [], ["worn"]),
        ("no gremlins or leaks", [], ["leaks"]),
        ("I don't think the hose is split", [], ["split"]),
        ("no play in the hub or the ball joint", [], ["play"]),
        ("nothing on there is worn", [], ["worn"]),
    ],
)
def test_a_new_statement_ends_a_denial(read: Read, text: str, plain: list[str], denied: list[str]) -> None:
    assert turned(read(text)) == (plain, denied, [])


@pytest.mark.parametrize(
    ("text", "plain", "denied"),
    [
        ("no leaks, cracks or rust", [], ["leaks", "cracks", "rust"]),
        ("no leaks, cracks, or rust", [], ["leaks", "cracks", "rust"]),
        ("no gremlins, leaks or rust", [], ["leaks", "rust"]),
        ("not leaking, torn and cracked", ["torn", "cracked"], ["leaking"]),
        ("no leaks, the boot is torn or cracked", ["torn", "cracked"], ["leaks"]),
    ],
)
def test_or_denies_all_that_it_joins(
    lexicon: Lexicon, text: str, plain: list[str], denied: list[str]
) -> None:
    """Where the term files give list words the value "alternative"."""
    joins = [GrammarTerm(kind="list", said=word, value="alternative") for word in ("or", "nor")]
    taught = lexicon.model_copy(update={"grammar": (*joins, *lexicon.grammar)})
    reader = Reader(taught, compile_matcher(taught))
    assert turned(reader.read(typed(text))) == (plain, denied, [])


def test_a_long_pause_ends_a_denial(reader: Reader) -> None:
    assert turned(reader.read(spoken("not leaking torn"))) == ([], ["leaking", "torn"], [])
    assert turned(reader.read(spoken("not leaking _ _ torn"))) == (["torn"], ["leaking"], [])


@pytest.mark.parametrize(
    ("text", "plain"),
    [
        ("not only worn but cracked", ["worn", "cracked"]),
        ("not just worn, it's cracked", ["worn", "cracked"]),
        ("pads are worn, no doubt", ["worn"]),
        ("no wonder it's noisy", ["noisy"]),
        ("No, the gasket is leaking", ["leaking"]),
    ],
)
def test_what_only_looks_like_a_denial(read: Read, text: str, plain: list[str]) -> None:
    assert turned(read(text)) == (plain, [], [])


@pytest.mark.parametrize(
    ("text", "doubted"),
    [
        ("it might be leaking", ["leaking"]),
        ("it could well be worn", ["worn"]),
        ("the hub is possibly noisy", ["noisy"]),
        ("might be the water pump leaking", ["leaking"]),
        ("looks like it may be cracked", ["cracked"]),
        ("it's leaking, maybe", ["leaking"]),
    ],
)
def test_what_is_doubted(read: Read, text: str, doubted: list[str]) -> None:
    assert turned(read(text)) == ([], [], doubted)


@pytest.mark.parametrize(
    ("text", "plain", "doubted"),
    [
        ("it might be leaking but the boot is torn", ["torn"], ["leaking"]),
        ("might be the water pump leaking. The hose is split", ["split"], ["leaking"]),
        ("the boot is torn and it might be leaking", ["torn"], ["leaking"]),
    ],
)
def test_where_a_doubt_ends(read: Read, text: str, plain: list[str], doubted: list[str]) -> None:
    assert turned(read(text)) == (plain, [], doubted)


@pytest.mark.parametrize(
    "text",
    ["no need to replace it", "doesn't need replacing", "I wouldn't replace it yet", "don't replace it"],
)
def test_denied_advice_is_marked(read: Read, text: str) -> None:
    """Either the advice word itself is denied, or the whole is a phrase for "nothing to do"."""
    marks = [m for clause in read(text).clauses for m in clause.marks]
    assert any(m.detail == "no_action" for m in marks) or any(m.kind == "action" and m.negated for m in marks)


def test_the_reason_is_kept(read: Read) -> None:
    (mark,) = [m for c in read("the boot is not torn").clauses for m in c.marks if m.kind == "condition"]
    assert mark.by == "not: is not"


def test_parts_and_places_are_never_denied(read: Read) -> None:
    marks = [m for c in read("no leaks at the left front strut").clauses for m in c.marks]
    assert {m.kind for m in marks if m.negated} == {"condition"}


def test_what_could_not_be_found(read: Read) -> None:
    assert turned(read("can't find a leak")) == ([], ["leak"], [])


@pytest.mark.xfail(strict=True, reason="the phrase “no leaks or damage” hides the “no” that reaches further")
def test_a_list_that_begins_like_a_phrase(read: Read) -> None:
    assert turned(read("no leaks or damage or rust"))[0] == []


def test_never_seen_worse(read: Read) -> None:
    assert turned(read("never seen one so worn")) == (["worn"], [], [])


def test_not_sure_if(read: Read) -> None:
    assert turned(read("not sure if the rear main seal is leaking")) == ([], [], ["leaking"])


_PIECES = (
    "no not isn't might be nothing never but the left boot rotor pads is torn leaking noisy worn and or in "
    "from except . , replace good"
)


@settings(max_examples=100, deadline=None)
@given(st.lists(st.sampled_from(_PIECES.split()), min_size=1, max_size=14).map(" ".join))
def test_nothing_is_turned_without_a_cue(reader: Reader, text: str) -> None:
    """A denied or doubted mark stands in a clause with a cue for it, and says which."""
    for clause in reader.read(typed(text)).clauses:
        cues = {m.detail for m in clause.marks if m.kind == "cue"}
        for mark in clause.marks:
            if mark.negated:
                assert "negation" in cues
                assert mark.by.startswith("not: ")
            if mark.hedged:
                assert "hedge" in cues
                assert "maybe: " in mark.by
