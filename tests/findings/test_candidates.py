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


def said(reader: Reader, lexicon: Lexicon, text: str, kind: str) -> list[tuple[str, str]]:
    """The parts of the candidates of one kind, and the words that name or place them."""
    words = text.split()
    return [
        (one.component, " ".join(words[slice(*one.parts[0])]))
        for one in asked(reader, lexicon, text)
        if one.kind == kind
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
    found = said(reader, lexicon, text, "apart")
    assert any(part == wanted[0] and words.startswith(wanted[1]) for part, words in found), found


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
    assert said(reader, lexicon, text, "apart") == []


def test_a_part_spoken_of_long_ago_is_not_meant(reader: Reader, lexicon: Lexicon) -> None:
    talk = " ".join(["so he said to me he would come by again some time"] * 6)
    text = f"Left front shock is leaking. {talk}. Right is dry."
    assert said(reader, lexicon, text, "apart") == []


def test_a_candidate_tells_whether_a_finding_rests_on_its_words(reader: Reader, lexicon: Lexicon) -> None:
    found = asked(reader, lexicon, "Struts, the left is leaking, the right is dry. We passed the water pump.")
    pump = next(one for one in found if one.component == "water_pump")
    assert (pump.kind, pump.inside, pump.own) == ("mention", False, False)
    for one in found:
        if one.kind == "apart":
            assert one.own <= one.inside
            assert one.name == "strut"


@pytest.mark.parametrize(
    "text",
    [
        "Left strut is leaking. Horn works. Right is dry.",
        "Left strut is leaking, the horn works, right one dry.",
        "Left strut is leaking. Horn works. Horn is loud. Right is dry.",
    ],
)
def test_words_apart_may_tell_of_either_of_the_last_two_parts(
    reader: Reader, lexicon: Lexicon, text: str
) -> None:
    found = {
        part for part, words in said(reader, lexicon, text, "apart") if words.lower().startswith("right")
    }
    assert found == {"strut", "horn"}


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("Sliding door goes halfway and the track is clean.", ("sliding_door_track", "track")),
        ("Charge port is fine. The door sticks.", ("charge_port_door", "door")),
        ("Brake pads are low. Lines are dry.", ("brake_line", "Lines")),
        ("Left sway bar link is loose. Bushings are dry.", ("sway_bar_bushing", "Bushings")),
        ("Fuel tank is dented. The straps are rusty.", ("fuel_tank_strap", "straps")),
    ],
)
def test_a_bare_word_may_end_the_name_of_what_was_spoken_of(
    reader: Reader, lexicon: Lexicon, text: str, wanted: tuple[str, str]
) -> None:
    assert wanted in said(reader, lexicon, text, "mention")


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("The track is clean.", "sliding_door_track"),
        ("Horn works. The track is clean.", "sliding_door_track"),
        ("Brake pads are low. The door sticks.", "charge_port_door"),
        ("The track is clean. Sliding door goes halfway.", "sliding_door_track"),
        (
            f"Sliding door sticks. {'So he said he would come by. ' * 12}The track is clean.",
            "sliding_door_track",
        ),
    ],
)
def test_a_bare_word_is_not_of_a_part_that_was_not_just_spoken_of(
    reader: Reader, lexicon: Lexicon, text: str, part: str
) -> None:
    assert part not in {component for component, _ in said(reader, lexicon, text, "mention")}
