"""The steps, run at once in this process: what comes out, what fails and says why, what is tried again."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import pytest
from kill_kit import sounds
from media_kit import write_media
from store_kit import NOW, a_walkaround, hand_in_sound

from voicecheck.lexicon import Lexicon
from voicecheck.recording import Sound
from voicecheck.records import Draft, MissingModelError, RecordingError, StoreError, Transcript
from voicecheck.shop.work.direct import DirectWork
from voicecheck.shop.work.steps import Drafting, open_asks
from voicecheck.speech import Recogniser
from voicecheck.speech.double import ScriptedRecogniser
from voicecheck.store import desk, history, owner, recordings, walkarounds
from voicecheck.store.database import Database
from voicecheck.store.media import MediaStore

TEXT = "left front brake pads are at three millimeters replace the front pads."
Make = Callable[[Callable[[], Recogniser]], Drafting]


class Odd:
    """Hears after doing something odd."""

    def __init__(self, act: Callable[[Sound], Any], text: str = TEXT) -> None:
        self._act = act
        self._inner = ScriptedRecogniser(text)

    def hear(
        self,
        sound: Sound,
        *,
        hot_words: Sequence[str] = (),
        lexicon: Lexicon | None = None,
        progress: Callable[[float], None] | None = None,
    ) -> Transcript:
        self._act(sound)
        return self._inner.hear(sound, hot_words=hot_words, lexicon=lexicon, progress=progress)


def state(database: Database, id: str) -> tuple[str, str]:
    with database.reading() as session:
        row = walkarounds.get(session, id=id)
        return row.state, row.trouble


def draft_of(database: Database, id: str) -> Draft:
    with database.reading() as session:
        [row] = desk.drafts(session, walkaround=id)
        return Draft.model_validate(row.document)


def test_a_recording_becomes_a_draft(
    drafting_with: Make, sqlite: Database, media: MediaStore, tmp_path: Path
) -> None:
    recogniser = ScriptedRecogniser(TEXT)
    work = DirectWork(drafting_with(lambda: recogniser))
    [sound] = sounds(tmp_path, 1)
    with sqlite.session() as session:
        owner.add_lexicon_version(session, files={}, now=NOW, person=None)
    id = hand_in_sound(sqlite, media, [sound], parts=4, seconds=1.0)
    assert work.state(id) == "none"
    work.submit(id)
    work.submit(id)
    assert work.state(id) == "done"
    assert state(sqlite, id) == ("review", "")
    draft = draft_of(sqlite, id)
    assert draft.transcript.text == TEXT
    assert [finding.component.id for finding in draft.findings] == ["brake_pads"]
    assert len(recogniser.asked) == 1
    with sqlite.reading() as session:
        row = walkarounds.get(session, id=id)
        [take] = recordings.takes(session, walkaround=id)
        assert (row.drafted, row.open_asks) == (NOW, open_asks(draft))
        assert (take.seconds, take.media) == (1.0, draft.recording.sha256)
        [kept] = desk.drafts(session, walkaround=id)
        assert kept.lexicon_version == 1
        told = [entry.what for entry in reversed(history.rows(session, walkaround=id))]
    assert told[-4:] == ["state", "state", "drafted", "state"]
    parts_and_whole = 4 + 1
    assert len(set(media.keys())) == parts_and_whole  # the draft's way through the media store is gone


def test_takes_are_heard_one_by_one_and_joined(
    drafting_with: Make, sqlite: Database, media: MediaStore, tmp_path: Path
) -> None:
    recogniser = ScriptedRecogniser(TEXT)
    work = DirectWork(drafting_with(lambda: recogniser))
    id = hand_in_sound(sqlite, media, sounds(tmp_path, 3), seconds=5.0)
    work.submit(id)
    draft = draft_of(sqlite, id)
    assert draft.transcript.text == " ".join([TEXT] * 3)
    assert draft.transcript.words[12].start == 1.0
    assert draft.recording.name == "3 recordings"
    [ask] = [ask for ask in draft.asks if ask.code == "recording"]
    assert ask.message.count("The phone recorded 0:05, but only 0:01 could be read") == 3
    assert [name for name, _ in recogniser.asked] == ["Recording 1", "Recording 2", "Recording 3"]


def test_a_take_added_later_is_drafted_with_the_first(
    drafting_with: Make, sqlite: Database, media: MediaStore, tmp_path: Path
) -> None:
    recogniser = ScriptedRecogniser(TEXT)
    work = DirectWork(drafting_with(lambda: recogniser))
    first, second = sounds(tmp_path, 2)
    id = hand_in_sound(sqlite, media, [first])
    work.submit(id)
    with sqlite.session() as session:
        take = recordings.begin_take(
            session, walkaround=id, client_key="later", now=NOW, name="C:\\x\\two.wav"
        )
    recordings.receive_part(sqlite, media, take=take.id, number=0, data=second, now=NOW)
    with sqlite.session() as session:
        recordings.finish_take(session, take=take.id, parts=1, now=NOW)
        assert recordings.hand_in(session, walkaround=id, now=NOW)
    work.submit(id)
    assert state(sqlite, id)[0] == "review"
    assert [name for name, _ in recogniser.asked] == [
        "Recording 1",
        "two.wav",
    ]  # the first is not heard again
    with sqlite.reading() as session:
        assert len(desk.drafts(session, walkaround=id)) == 2
        latest = desk.latest_draft(session, walkaround=id)
    assert latest is not None
    assert latest.document["transcript"]["seconds"] == 2.0


def test_damaged_recordings_fail_with_the_sentence(
    drafting_with: Make, sqlite: Database, media: MediaStore
) -> None:
    work = DirectWork(drafting_with(lambda: ScriptedRecogniser(TEXT)))
    id = hand_in_sound(sqlite, media, [b"this is no sound at all" * 20])
    work.submit(id)
    assert work.state(id) == "failed"
    told = state(sqlite, id)
    assert told[0] == "failed"
    assert told[1].startswith("Recording 1 is not an audio or video file that can be read. These can: wav")


def test_one_damaged_take_does_not_take_the_others_with_it(
    drafting_with: Make, sqlite: Database, media: MediaStore, tmp_path: Path
) -> None:
    work = DirectWork(drafting_with(lambda: ScriptedRecogniser(TEXT)))
    id = hand_in_sound(sqlite, media, [b"this is no sound at all" * 20, *sounds(tmp_path, 1)])
    work.submit(id)
    draft = draft_of(sqlite, id)
    assert draft.transcript.text == TEXT
    [ask] = [ask for ask in draft.asks if ask.code == "recording"]
    assert ask.message.startswith("Recording 1: Recording 1 is not an audio or video file")


@pytest.mark.parametrize(
    ("text", "note", "sentence"),
    [
        ("", "There is no speech in it.", "There is no speech in it."),
        ("", "", "No speech was found in the recording."),
    ],
)
def test_no_speech(
    drafting_with: Make,
    sqlite: Database,
    media: MediaStore,
    tmp_path: Path,
    text: str,
    note: str,
    sentence: str,
) -> None:
    work = DirectWork(drafting_with(lambda: ScriptedRecogniser(text, note=note)))
    id = hand_in_sound(sqlite, media, sounds(tmp_path, 1))
    work.submit(id)
    assert state(sqlite, id) == ("failed", sentence)


def test_tried_again_it_is_heard_again(
    drafting_with: Make, sqlite: Database, media: MediaStore, tmp_path: Path
) -> None:
    texts = ["", TEXT]
    work = DirectWork(drafting_with(lambda: ScriptedRecogniser(texts.pop(0))))
    id = hand_in_sound(sqlite, media, sounds(tmp_path, 1))
    work.submit(id)
    assert state(sqlite, id)[0] == "failed"
    with sqlite.session() as session:
        walkarounds.set_state(session, id=id, to="waiting", now=NOW)
    work.submit(id)
    assert draft_of(sqlite, id).transcript.text == TEXT


def test_too_long(drafting_with: Make, sqlite: Database, media: MediaStore, tmp_path: Path) -> None:
    work = DirectWork(drafting_with(lambda: ScriptedRecogniser(TEXT)))
    sound = write_media(tmp_path / "long.wav", seconds=61.0).read_bytes()
    id = hand_in_sound(sqlite, media, [sound])
    work.submit(id)
    failed, told = state(sqlite, id)
    assert failed == "failed"
    assert told.startswith("Recording 1 is 1 min 1 s long; the limit is 1 min. Split it")


def test_another_language_is_the_recordings_fault(
    drafting_with: Make, sqlite: Database, media: MediaStore, tmp_path: Path
) -> None:
    def refuse(_: Sound) -> None:
        raise RecordingError("This is not English.", hint="Speak English.")

    work = DirectWork(drafting_with(lambda: Odd(refuse)))
    id = hand_in_sound(sqlite, media, sounds(tmp_path, 1))
    work.submit(id)
    assert state(sqlite, id) == ("failed", "This is not English. Speak English.")


def test_weights_that_are_missing_are_told_and_heard_again_when_there(
    drafting_with: Make, sqlite: Database, media: MediaStore, tmp_path: Path
) -> None:
    there: list[bool] = []

    def recogniser() -> Recogniser:
        if not there:
            raise MissingModelError("The weights base are not there.", hint="voicecheck weights base")
        return ScriptedRecogniser(TEXT)

    work = DirectWork(drafting_with(recogniser))
    id = hand_in_sound(sqlite, media, sounds(tmp_path, 1))
    work.submit(id)
    assert state(sqlite, id) == ("failed", "The weights base are not there. voicecheck weights base")
    there.append(True)
    with sqlite.session() as session:
        recordings.hand_in(session, walkaround=id, now=NOW)  # "try again"
    work.submit(id)
    assert state(sqlite, id) == ("review", "")


def test_what_goes_wrong_twice_is_tried_a_third_time(
    drafting_with: Make, sqlite: Database, media: MediaStore, tmp_path: Path
) -> None:
    tries: list[str] = []

    def act(sound: Sound) -> None:
        tries.append(sound.name)
        if len(tries) < 3:
            raise ZeroDivisionError

    work = DirectWork(drafting_with(lambda: Odd(act)))
    id = hand_in_sound(sqlite, media, sounds(tmp_path, 1))
    work.submit(id)
    assert state(sqlite, id) == ("review", "")
    assert len(tries) == 3


def test_what_goes_wrong_every_time_fails(
    drafting_with: Make, sqlite: Database, media: MediaStore, tmp_path: Path
) -> None:
    tries: list[str] = []

    def act(sound: Sound) -> None:
        tries.append(sound.name)
        raise ZeroDivisionError

    work = DirectWork(drafting_with(lambda: Odd(act)))
    id = hand_in_sound(sqlite, media, sounds(tmp_path, 1))
    work.submit(id)
    failed, told = state(sqlite, id)
    assert failed == "failed"
    assert told.startswith("Something went wrong in this program (ZeroDivisionError). The recording is kept")
    assert len(tries) == 3
    with sqlite.reading() as session:
        assert desk.drafts(session, walkaround=id) == []


def test_a_place_that_is_out_of_reach_for_a_moment(
    drafting_with: Make, sqlite: Database, media: MediaStore, tmp_path: Path
) -> None:
    tries: list[str] = []

    def act(sound: Sound) -> None:
        tries.append(sound.name)
        if len(tries) == 1:
            raise StoreError("The disk is full.")

    work = DirectWork(drafting_with(lambda: Odd(act)))
    id = hand_in_sound(sqlite, media, sounds(tmp_path, 1))
    work.submit(id)
    assert state(sqlite, id) == ("review", "")


def test_a_run_that_was_overtaken_publishes_nothing(
    drafting_with: Make, sqlite: Database, media: MediaStore, tmp_path: Path
) -> None:
    """While it is listened to, the technician begins another recording."""
    ids: list[str] = []

    def begin_another(_: Sound) -> None:
        with sqlite.session() as session:
            recordings.begin_take(session, walkaround=ids[0], client_key="another", now=NOW)

    work = DirectWork(drafting_with(lambda: Odd(begin_another)))
    ids.append(hand_in_sound(sqlite, media, sounds(tmp_path, 1)))
    work.submit(ids[0])
    assert state(sqlite, ids[0])[0] == "recording"
    with sqlite.reading() as session:
        assert desk.drafts(session, walkaround=ids[0]) == []


def test_every_step_may_run_twice(
    drafting_with: Make, sqlite: Database, media: MediaStore, tmp_path: Path
) -> None:
    recogniser = ScriptedRecogniser(TEXT)
    steps = drafting_with(lambda: recogniser)
    id = hand_in_sound(sqlite, media, sounds(tmp_path, 1))
    for _ in range(2):
        assert steps.begin(id, 1)
    [take] = steps.assemble(id)
    assert steps.assemble(id) == [take]
    for _ in range(2):
        steps.listen(id, take)
    made = [steps.draft(id) for _ in range(2)]
    for key in (*made, made[0]):
        steps.publish(id, 1, key)
    assert len(recogniser.asked) == 1
    assert draft_of(sqlite, id).transcript.text == TEXT
    assert not steps.begin(id, 1)  # done with
    steps.fail(id, 1, "too late")
    assert state(sqlite, id) == ("review", "")


def test_progress_is_written_at_most_twice_a_second(
    drafting_with: Make, sqlite: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    written: list[tuple[str, float]] = []
    now = [100.0]
    monkeypatch.setattr(time, "monotonic", lambda: now[0])
    monkeypatch.setattr(
        walkarounds, "set_progress", lambda session, id, stage, share: written.append((stage, share))
    )
    tell = drafting_with(lambda: ScriptedRecogniser(TEXT))._teller("id")
    for hundredth in range(200):
        now[0] = 100.0 + hundredth / 100
        tell("listening", hundredth / 200)
    assert len(written) == 4
    assert written[0] == ("listening", 0.0)


def test_progress_that_cannot_be_written_stops_nothing(
    drafting_with: Make, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: Any, **__: Any) -> None:
        raise StoreError("The disk is full.")

    monkeypatch.setattr(walkarounds, "set_progress", full)
    drafting_with(lambda: ScriptedRecogniser(TEXT))._teller("id")("listening", 0.5)


def test_direct_work_finds_what_waits(
    drafting_with: Make, sqlite: Database, media: MediaStore, tmp_path: Path
) -> None:
    work = DirectWork(drafting_with(lambda: ScriptedRecogniser(TEXT)))
    id = hand_in_sound(sqlite, media, sounds(tmp_path, 1))
    with sqlite.session() as session:
        fresh = a_walkaround(session)
    work.submit(fresh.id)
    assert work.recover() == 1
    assert (work.state(id), work.state(fresh.id)) == ("done", "none")
