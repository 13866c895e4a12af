"""The steps from a handed-in walk-around to its draft. Each leaves its result in the store under a key.

A step may run twice (its process died before the result was noted, or a worker was only thought dead): the
second time it finds the result and changes nothing. Between steps only keys are handed on.
"""

from __future__ import annotations

import contextlib
import logging
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal, Protocol

from voicecheck.pipeline import Workshop, draft_from_transcript, listen
from voicecheck.records import (
    Draft,
    EmptyRecordingError,
    RecordingError,
    StoreError,
    Transcript,
    VoicecheckError,
)
from voicecheck.shop.work.takes import Heard, join_takes, recording_of
from voicecheck.speech import Recogniser
from voicecheck.store import desk, owner, recordings, walkarounds
from voicecheck.store.database import Database
from voicecheck.store.media import MediaStore
from voicecheck.store.tables import Take, Walkaround

log = logging.getLogger("voicecheck.work")

ATTEMPTS = 3  # of a step, before it is given up
PROGRESS_S = 0.5  # between two notes of how far a step is
NOTHING_HEARD = "No speech was found in the recording."
KEPT = "The recording is kept: try again, and if it happens again tell whoever looks after this machine."

Outcome = dict[str, Any]  # of a step: {"value": …}, or {"refused": sentence} where trying again is no use
Ended = Literal["done", "failed", "not wanted"]


class RunStep(Protocol):
    """Runs ``step`` with ``arguments`` and keeps what it gives under ``name``.

    After ``ATTEMPTS`` exceptions raises ``GivenUp`` with the sentence of the last ``StepFailed``.
    """

    def __call__(self, name: str, step: Callable[..., Outcome], *arguments: str | int) -> Outcome: ...


class StepFailed(Exception):  # noqa: N818
    """A step went wrong in a way that may not happen again. One sentence; can be pickled."""


class GivenUp(Exception):  # noqa: N818
    """A step went wrong every time. One sentence."""


class _Refused(Exception):  # noqa: N818
    """Something that a person caused or can mend. One sentence."""


@dataclass(frozen=True)
class Drafting:
    """The steps, and what they need. ``recogniser`` and ``workshop`` are called each time they are needed."""

    database: Database
    media: MediaStore
    workshop: Callable[[str], Workshop]
    recogniser: Callable[[], Recogniser]
    clock: Callable[[], datetime]
    max_seconds: float  # of one take

    def warm_up(self, market: str) -> None:
        """Loads the vocabulary and the speech model, so that the first recording need not wait for them.

        What cannot be loaded is told when a recording needs it.
        """
        with contextlib.suppress(VoicecheckError):
            self.workshop(market)
            self.recogniser()

    def begin(self, walkaround: str, run: int) -> bool:
        """Marks it ``working``. ``False`` where this run is not wanted (any more)."""
        with self.database.session() as session:
            row = walkarounds.get(session, id=walkaround)
            if not _wanted(row, run):
                return False
            walkarounds.set_state(session, id=walkaround, to="working", now=self.clock())
            return True

    def assemble(self, walkaround: str) -> list[str]:
        """Puts the parts of every take together. The ids of the takes, in order."""
        self._teller(walkaround)("assembling", 0.0)
        with self.database.reading() as session:
            takes = _usable(recordings.takes(session, walkaround=walkaround))
        for take in takes:
            if not _done_with(take):
                recordings.assemble(self.database, self.media, take=take.id)
        return [take.id for take in takes]

    def listen(self, walkaround: str, take_id: str) -> None:
        """Hears one take and keeps the transcript.

        A damaged one is kept as no words and the reason: of several takes it does not take the others with
        it, and the draft asks about it.
        """
        with self.database.reading() as session:
            take = recordings.take(session, id=take_id)
            market = walkarounds.get(session, id=walkaround).market
        if _done_with(take):
            return
        if take.media is None:
            raise StepFailed(f"A recording was not put together. {KEPT}")
        tell = self._teller(walkaround)
        tell("loading", 0.0)
        lexicon, recogniser = self.workshop(market).lexicon, self.recogniser()
        try:
            with self.media.as_file(take.media, name=_file_name(take)) as path:
                transcript, info = listen(
                    lexicon, path, recogniser, progress=tell, max_seconds=self.max_seconds
                )
            seconds = info.seconds or 0.0
        except RecordingError as error:
            transcript, seconds = Transcript(text="", words=(), note=sentence_of(error)), 0.0
        with self.database.session() as session:
            recordings.set_transcript(
                session, take=take_id, transcript=transcript.model_dump(mode="json"), seconds=seconds
            )

    def draft(self, walkaround: str) -> str:
        """Makes the draft from what was heard and keeps it in the media store; its key.

        Raises ``EmptyRecordingError`` where no take has a word.
        """
        self._teller(walkaround)("drafting", 0.0)
        with self.database.reading() as session:
            market = walkarounds.get(session, id=walkaround).market
            heard = [_heard(take) for take in _usable(recordings.takes(session, walkaround=walkaround))]
        if not any(take.transcript.words for take in heard):
            raise EmptyRecordingError(_why_nothing(heard))
        made = draft_from_transcript(self.workshop(market), join_takes(heard), recording=recording_of(heard))
        return self.media.put(made.model_dump_json().encode("utf-8"))

    def publish(self, walkaround: str, run: int, made: str) -> None:
        """The draft becomes a row and the walk-around goes to review, both or neither."""
        key = draft_key(walkaround, run)
        with self.database.reading() as session:
            done = desk.draft_by_key(session, key=key) is not None
        if not done:
            draft = Draft.model_validate_json(self.media.read(made))
            document = draft.model_dump(mode="json")
            with self.database.session() as session:
                if _wanted(walkarounds.get(session, id=walkaround), run):
                    desk.publish_draft(
                        session,
                        walkaround=walkaround,
                        key=key,
                        document=document,
                        now=self.clock(),
                        open_asks=open_asks(draft),
                        lexicon_version=owner.latest_lexicon_number(session),
                    )
                    walkarounds.set_state(session, id=walkaround, to="review", now=self.clock())
        self.media.delete(made)

    def fail(self, walkaround: str, run: int, sentence: str) -> None:
        """It cannot be drafted; the walk-around says why."""
        with self.database.session() as session:
            if _wanted(walkarounds.get(session, id=walkaround), run):
                walkarounds.set_state(session, id=walkaround, to="failed", now=self.clock(), trouble=sentence)

    def _teller(self, walkaround: str) -> Callable[[str, float], None]:
        """Notes how far the work is, at most twice a second."""
        last = ("", -PROGRESS_S)
        lock = threading.Lock()

        def tell(stage: str, share: float) -> None:
            nonlocal last
            now = time.monotonic()
            with lock:
                if now - last[1] < PROGRESS_S:
                    return
                last = (stage, now)
            try:
                with self.database.session() as session:
                    walkarounds.set_progress(session, id=walkaround, stage=stage, share=share)
            except StoreError:
                log.debug("progress of %s not noted", walkaround)  # the work matters, not the bar

        return tell


def run_steps(work: Drafting, walkaround: str, run: int, *, step: RunStep) -> Ended:
    """One run from beginning to end. The same outcomes of ``step`` give the same course."""

    def do(name: str, function: Callable[..., Any], *arguments: str | int) -> Any:
        outcome = step(name, _in_words(function, name), *arguments)
        if "refused" in outcome:
            raise _Refused(outcome["refused"])
        return outcome["value"]

    try:
        if not do("begin", work.begin, walkaround, run):
            return "not wanted"
        for number, take in enumerate(do("assemble", work.assemble, walkaround), 1):
            do(f"listen {number}", work.listen, walkaround, take)
        made = do("draft", work.draft, walkaround)
        do("publish", work.publish, walkaround, run, made)
    except (_Refused, GivenUp) as error:
        do("fail", work.fail, walkaround, run, str(error))
        return "failed"
    return "done"


def _in_words(function: Callable[..., Any], name: str) -> Callable[..., Outcome]:
    """The step with its errors sorted: what a person can mend is an outcome, all else may be tried again."""

    def step(*arguments: Any) -> Outcome:
        try:
            return {"value": function(*arguments)}
        except StepFailed:
            raise
        except StoreError as error:
            log.warning("step %s of %s: %s", name, arguments[0], error.message)
            raise StepFailed(sentence_of(error)) from error
        except VoicecheckError as error:
            return {"refused": sentence_of(error)}
        except Exception as error:
            log.exception("step %s of %s", name, arguments[0])
            raise StepFailed(
                f"Something went wrong in this program ({type(error).__name__}). {KEPT}"
            ) from error

    return step


def draft_key(walkaround: str, run: int) -> str:
    """The key of the one draft of a run."""
    return f"{walkaround}-{run}"


def open_asks(draft: Draft) -> int:
    """The questions of a draft: about the recording, its findings and its lines."""
    on_lines = sum(len(line.asks) for job in draft.estimate.jobs for line in job.lines)
    return len(draft.asks) + sum(len(finding.asks) for finding in draft.findings) + on_lines


def sentence_of(error: VoicecheckError) -> str:
    """The message, and what to do, as one text."""
    return f"{error.message} {error.hint}".strip()


def _wanted(row: Walkaround, run: int) -> bool:
    return row.run == run and row.state in ("waiting", "working")


def _usable(takes: Sequence[Take]) -> list[Take]:
    return [
        take
        for take in takes
        if take.complete is not None and (take.deleted is None or take.transcript is not None)
    ]


def _done_with(take: Take) -> bool:
    """Whether it need not be heard (again). One without a word is: something may have changed since."""
    return take.transcript is not None and (bool(take.transcript["words"]) or take.deleted is not None)


def _heard(take: Take) -> Heard:
    if take.transcript is None:
        raise StepFailed(f"A recording was not listened to. {KEPT}")
    return Heard(
        number=take.number,
        name=_file_name(take),
        media=take.media or "",
        transcript=Transcript.model_validate(take.transcript),
        seconds=take.seconds or 0.0,
        claimed=take.seconds_claimed,
    )


def _why_nothing(heard: Sequence[Heard]) -> str:
    notes = [take.transcript.note or NOTHING_HEARD for take in heard]
    if not notes:
        return "There is no recording."
    if len(notes) == 1:
        return notes[0]
    return " ".join(f"Recording {take.number}: {note}" for take, note in zip(heard, notes, strict=True))


def _file_name(take: Take) -> str:
    """A name to show, and for the decoder to see the ending of; no folder, nothing odd."""
    name = take.name.replace("\\", "/").rpartition("/")[2]
    name = "".join(letter for letter in name if letter.isprintable()).strip(" .")[-80:]
    if name:
        return name
    kind = take.kind.partition(";")[0].rpartition("/")[2].lower()
    return f"Recording {take.number}{'.' + kind if kind.isalnum() else ''}"
