"""Ears in processes of their own, so that the memory of each is its own and nothing is shared."""

from __future__ import annotations

import hashlib
import multiprocessing
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from multiprocessing.connection import Connection
from pathlib import Path
from types import TracebackType
from typing import get_args

from voicecheck.lexicon import load_lexicon
from voicecheck.measure.ear import Heard, Listener
from voicecheck.measure.run import peak_mb
from voicecheck.pipeline import listen
from voicecheck.records import Market, SpeechError, Transcript, VoicecheckError
from voicecheck.resources import lexicon_dir
from voicecheck.speech import SpeechSettings, doctor
from voicecheck.speech.recogniser import Ear, Recogniser

_STOP_S = 10.0
_NOTHING = Transcript(text="", words=())


class Ears:
    """One recogniser in this process: hears, and measures what that takes."""

    def __init__(
        self, recogniser: Recogniser, *, lexicon_folder: Path | None = None, warm: bool = True
    ) -> None:
        self._recogniser, self._warm = recogniser, warm
        self._market: Market | None = None
        self._lexicons = {
            market: load_lexicon(lexicon_dir(), lexicon_folder, market=market) for market in get_args(Market)
        }

    def listen(self, path: Path, *, market: Market) -> Heard:
        """As ``Listener.listen``."""
        if self._warm and market != self._market:
            # what is made at first use belongs to loading, and a shop has one market
            sample = Path(doctor.__file__).with_name(doctor.SAMPLE)
            listen(self._lexicons[market], sample, self._recogniser)
            self._market = market
        began, worked = time.perf_counter(), time.process_time()
        transcript, failure = _NOTHING, ""
        try:
            transcript, _ = listen(self._lexicons[market], path, self._recogniser)
        except VoicecheckError as error:
            failure = error.message
        return Heard(
            transcript=transcript,
            wall_s=time.perf_counter() - began,
            cpu_s=time.process_time() - worked,
            peak_mb=peak_mb(),
            failure=failure,
        )


class EarProcess:
    """A ``Listener`` whose work is done by a process that holds one loaded model."""

    def __init__(self, settings: SpeechSettings, *, lexicon_folder: Path | None = None) -> None:
        """Starts the process and waits for the model; raises ``VoicecheckError`` if it cannot be loaded."""
        context = multiprocessing.get_context("spawn")  # a fork would share, and count, the parent's memory
        self._line, theirs = context.Pipe()
        self._process = context.Process(target=_serve, args=(theirs, settings, lexicon_folder), daemon=True)
        self._process.start()
        theirs.close()
        answer = self._answer()
        if isinstance(answer, VoicecheckError):
            self.close()
            raise answer

    def listen(self, path: Path, *, market: Market) -> Heard:
        """As ``Listener.listen``; raises ``SpeechError`` if the process is gone."""
        self._line.send((path, market))
        answer = self._answer()
        if not isinstance(answer, Heard):
            raise SpeechError(f"The ear answered with {type(answer).__name__}.")
        return answer

    def _answer(self) -> object:
        try:
            return self._line.recv()
        except EOFError as error:
            raise SpeechError("The process that listens ended without an answer.") from error

    def close(self) -> None:
        """Ends the process."""
        self._line.close()
        self._process.join(_STOP_S)
        if self._process.is_alive():
            self._process.terminate()

    def __enter__(self) -> EarProcess:
        return self

    def __exit__(
        self, _type: type[BaseException] | None, _error: BaseException | None, _trace: TracebackType | None
    ) -> None:
        self.close()


def _serve(line: Connection, settings: SpeechSettings, lexicon_folder: Path | None) -> None:
    from voicecheck.speech.whisper import WhisperRecogniser

    try:
        ears = Ears(WhisperRecogniser(settings), lexicon_folder=lexicon_folder)
    except VoicecheckError as error:
        line.send(error)
        return
    try:
        line.send("ready")
        while True:
            path, market = line.recv()
            line.send(ears.listen(path, market=market))
    except (EOFError, BrokenPipeError, KeyboardInterrupt):  # the measuring process is gone
        return


@contextmanager
def ear_processes(
    names: Sequence[Ear],
    *,
    model: str,
    lexicon_folder: Path | None = None,
    progress: Callable[[str, float], None] | None = None,
) -> Iterator[dict[str, Listener]]:
    """The ears ``names``, each in its process with ``model``, ended on the way out."""
    with ExitStack() as stack:
        found: dict[str, Listener] = {}
        for at, name in enumerate(names):
            if progress is not None:
                progress("loading", at / len(names))
            settings = SpeechSettings(model=model, ear=name)
            found[name] = stack.enter_context(EarProcess(settings, lexicon_folder=lexicon_folder))
        if progress is not None:
            progress("loading", 1.0)
        yield found


def ear_mark(*, model: str, lexicon_folder: Path | None = None) -> str:
    """A fingerprint of everything that decides what is heard: the code, the term files, the settings."""
    package = Path(doctor.__file__).parents[1]
    files = [package / "pipeline.py"]
    for part in ("speech", "lexicon", "recording", "records"):
        files += (path for path in (package / part).rglob("*") if path.is_file() and path.suffix != ".pyc")
    for folder in (lexicon_dir(), lexicon_folder):
        files += (path for path in folder.rglob("*") if path.is_file()) if folder is not None else ()
    digest = hashlib.sha256(SpeechSettings(model=model).model_dump_json().encode())
    for path in sorted(files):
        digest.update(path.name.encode() + b"\0" + hashlib.sha256(path.read_bytes()).digest())
    return digest.hexdigest()[:16]
