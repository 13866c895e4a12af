"""What a second reader is asked: findings, parts left alone, and words that stand apart from their part."""

from __future__ import annotations

import pytest

from voicecheck.findings import Finder
from voicecheck.findings.candidates import Candidate
from voicecheck.language import Reader
from voicecheck.lexicon import Lexicon
from voicecheck.pipeline import transcript_from_text


def asked(reader: Reader, lexicon: Lexicon, text: str) -> list[Candidate]:
    drafts, mentions = Finder(lexicon).candidates(reader.read(transcript_from_text(text)))
    return [*drafts, *(mention.candidate for mention in mentions)]


def apart(reader: Reader, lexicon: Lexicon, text: str) -> list[tuple[str, str]]:
    """The parts and the words of the candidates that stand apart."""
    words = text.split()
    return [
        (one.component, " ".join(words[slice(*one.parts[0])]))
        for one in asked(reader, lexicon, text)
        if one.kind == "apart"
    ]


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("Struts, the left is leaking, the right is dry.", ("strut", "right")),
        ("Tie rod ends, outer, tight both sides. Inner, left is loose.", ("tie_rod_end_inner", "Inner,")),
        ("Battery one is good. Left, twelve four, bad.", ("battery", "Left,")),
        ("The horn works. Loud and clear.", ("horn", "Loud")),
        ("Left front shock is new, right is new.", ("shock", "right")),
    ],
)
def test_words_apart_go_with_the_part_spoken_of_before(
    reader: Reader, lexicon: Lexicon, text: str, wanted: tuple[str, str]
) -> None:
    found = apart(reader, lexicon, text)
    assert any(part == wanted[0] and said.startswith(wanted[1]) for part, said in found), found


@pytest.mark.parametrize(
    "text",
    [
        "Left front tie rod end is loose.",
        "Pads front are low.",
        "Left, right, front, rear.",
        "Horn works.",
        "Customer asks if the left side is loose?",
    ],
)
def test_places_beside_their_part_and_places_of_nothing_are_not_asked_about(
    reader: Reader, lexicon: Lexicon, text: str
) -> None:
    assert apart(reader, lexicon, text) == []


def test_a_part_spoken_of_long_ago_is_not_meant(reader: Reader, lexicon: Lexicon) -> None:
    talk = " ".join(["so he said to me he would come by again some time"] * 6)
    assert apart(reader, lexicon, f"Left front shock is leaking. {talk}. Right is dry.") == []


def test_a_candidate_tells_whether_a_finding_rests_on_its_words(reader: Reader, lexicon: Lexicon) -> None:
    found = asked(reader, lexicon, "Struts, the left is leaking, the right is dry. We passed the water pump.")
    pump = next(one for one in found if one.component == "water_pump")
    assert (pump.kind, pump.inside, pump.own) == ("mention", False, False)
    for one in found:
        if one.kind == "apart":
            assert one.own <= one.inside
            assert one.name == "strut"
