"""Several takes as one transcript."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from voicecheck.records import Transcript, Unheard, Word
from voicecheck.shop.work.takes import Heard, join_takes, missing_note, offsets, recording_of

TEXTS = st.lists(st.sampled_from(["pads", "worn", "fine.", "left,", "", "why?"]), max_size=6)


def heard(
    *texts: str,
    number: int = 1,
    seconds: float = 10.0,
    claimed: float | None = None,
    note: str = "",
    unheard: tuple[Unheard, ...] = (),
) -> Heard:
    words = tuple(
        Word(heard=text or "x", read=text, start=float(at), end=at + 0.5) for at, text in enumerate(texts)
    )
    transcript = Transcript(text=" ".join(texts), words=words, seconds=seconds, note=note, unheard=unheard)
    return Heard(
        number=number, name=f"{number}.webm", media=f"{number:064d}", transcript=transcript, seconds=seconds,
        claimed=claimed,
    )  # fmt: skip


def test_one_take_is_as_it_was_heard() -> None:
    one = heard("left", "pads", "worn", note="Very quiet.")
    joined = join_takes([one])
    assert joined.words == one.transcript.words
    assert (joined.text, joined.note, joined.seconds) == ("left pads worn", "Very quiet.", 10.0)
    assert (recording_of([one]).name, recording_of([one]).sha256) == ("1.webm", one.media)


def test_times_go_on_and_a_take_ends_a_sentence() -> None:
    gap = Unheard(start=1.0, end=2.0, why="no words")
    joined = join_takes(
        [
            heard("left", "pads,", ""),
            heard("worn", number=2, seconds=5.0, unheard=(gap,)),
            heard("out", number=3),
        ]
    )
    assert joined.text == "left pads. worn. out"
    assert [word.start for word in joined.words] == [0.0, 1.0, 2.0, 10.0, 15.0]
    assert [word.heard for word in joined.words] == ["left", "pads,", "x", "worn", "out"]
    assert joined.unheard == (Unheard(start=11.0, end=12.0, why="no words"),)
    assert joined.seconds == 25.0


@given(st.lists(st.tuples(TEXTS, st.floats(0.5, 600.0)), min_size=1, max_size=5))
def test_no_word_is_lost_and_every_place_can_be_found_in_its_take(
    takes: list[tuple[list[str], float]],
) -> None:
    heards = [
        heard(*texts, number=number, seconds=round(seconds, 2))
        for number, (texts, seconds) in enumerate(takes, 1)
    ]
    joined = join_takes(heards)
    assert [word.heard for word in joined.words] == [w.heard for h in heards for w in h.transcript.words]
    assert joined.text == " ".join(word.read for word in joined.words if word.read)
    begins = offsets([take.seconds for take in heards])
    at = 0
    for take, begin in zip(heards, begins, strict=True):
        for word in take.transcript.words:
            moved = joined.words[at]
            at += 1
            assert moved.start is not None
            assert word.start is not None
            assert abs(moved.start - begin - word.start) < 0.002
            assert moved.read.rstrip(".,") == word.read.rstrip(".,")
    assert recording_of(heards).seconds == round(sum(take.seconds for take in heards), 2)


def test_sound_that_is_missing_is_said() -> None:
    assert missing_note(heard(seconds=60.0)) == ""
    assert missing_note(heard(seconds=58.5, claimed=60.0)) == ""  # a second or two is the recorder's
    assert missing_note(heard(seconds=95.0, claimed=98.0)) != ""
    assert missing_note(heard(seconds=295.0, claimed=300.0)) == ""  # less than 3 %
    assert missing_note(heard(seconds=70.0, claimed=60.0)) == ""
    assert missing_note(heard(seconds=30.0, claimed=60.0)).startswith(
        "The phone recorded 1:00, but only 0:30 could be read; what was said in the rest is missing."
    )


def test_notes_name_the_take_where_there_are_several() -> None:
    joined = join_takes([heard("a", note="Quiet."), heard("b", number=2, claimed=60.0)])
    assert joined.note.startswith("Recording 1: Quiet. Recording 2: The phone recorded 1:00")
