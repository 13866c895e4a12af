"""Reads audio and video files. The only module that sees PyAV (FFmpeg's libraries).

Decoding goes packet by packet: a damaged packet costs only itself, and the hole is filled with silence, so
that every later word keeps its place on the file's own clock.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import av
import numpy as np

from voicecheck.recording.sound import RATE, Sound
from voicecheck.records import (
    EmptyRecordingError,
    InputError,
    NoSoundError,
    NotMediaError,
    TooLongError,
)

MAX_SECONDS = 10_800.0  # three hours: 346 MB of samples, the most that was tried
MIN_SECONDS = 0.3  # less than any word takes
SHORT_BY_SECONDS = 1.5  # decoded less than stated by more than this: worth a note
HOLE_SECONDS = 0.1  # a smaller jump of the clock is rounding
MIN_GAP_SECONDS = 0.5  # gaps of less than this in all lose no word
MAX_HOLE_SECONDS = 600.0  # a bigger jump is a broken clock, not a hole
MAX_ERRORS_IN_A_ROW = 200  # reading on past this never found sound again

# FFmpeg also reads playlists, image sequences and scripts that point to other files and hosts. A recording
# that came from outside must not choose what we open, so only real containers are allowed.
CONTAINERS = (
    "wav,w64,aiff,au,caf,flac,mp3,aac,ac3,eac3,amr,ogg,matroska,webm,"
    "mov,mp4,m4a,3gp,3g2,mj2,mpegts,mpeg,avi,asf"
)
OPTIONS = {"format_whitelist": CONTAINERS, "protocol_whitelist": "file"}
GUESSED = frozenset({"aac", "ac3", "eac3", "amr", "mpegts", "mpeg"})  # length only guessed from the bit rate
KINDS = "wav, mp3, m4a, aac, ogg, opus, webm, mp4 and mov"

Progress = Callable[[float], None]


def read_sound(path: Path, *, max_seconds: float = MAX_SECONDS, progress: Progress | None = None) -> Sound:
    """The sound of the media file at ``path``, of a video its sound track, as 16 kHz mono.

    ``progress`` is called with the share done, 0 to 1, where the file states its length. A file that is cut
    off or damaged gives what is there, and ``Sound.note`` says what is missing. Raises ``InputError`` (no
    such file), ``NotMediaError``, ``NoSoundError``, ``EmptyRecordingError`` (under 0.3 s) or
    ``TooLongError``.
    """
    _check_path(path)
    container = _open(path)
    try:
        stream = container.streams.best("audio")
        if not isinstance(stream, av.AudioStream):
            raise NoSoundError(
                f"{path.name} has no sound track.",
                hint="Record again with the microphone allowed, or use another file.",
            )
        stated = _stated_seconds(container, stream, path)
        if stated is not None and stated > max_seconds:
            raise _too_long(path, f"{_length(stated)} long", max_seconds=max_seconds)
        decoding = _Decoding(container, stream, max_seconds=max_seconds)
        for seconds in decoding.run():
            if seconds > max_seconds:
                raise _too_long(path, f"longer than {_length(max_seconds)}", max_seconds=max_seconds)
            if progress is not None and stated:
                progress(min(1.0, seconds / stated))
    finally:
        container.close()
    samples = np.frombuffer(decoding.samples, dtype=np.int16)
    samples.setflags(write=False)
    seconds = len(samples) / RATE
    if decoding.frames == 0 and decoding.errors:
        raise NotMediaError(
            f"{path.name} is damaged: not one piece of its sound could be decoded.",
            hint="Copy the file from the phone again, or record again.",
        )
    if seconds < MIN_SECONDS:
        found = "no sound at all" if not len(samples) else f"only {seconds:.2f} s of sound"
        raise EmptyRecordingError(f"{path.name} is empty: there is {found} in it.", hint="Record again.")
    if progress is not None:
        progress(1.0)
    return Sound(
        name=path.name,
        samples=samples,
        sha256=_sha256(path),
        stated_seconds=stated,
        note=_note(seconds, stated, decoding),
    )


def _check_path(path: Path) -> None:
    try:
        if path.is_dir():
            raise InputError(f"{path} is a folder, not a recording.", hint="Name one audio or video file.")
        if not path.exists():
            raise InputError(f"There is no file {path}.")
        if not path.is_file():
            raise InputError(f"{path} is not an ordinary file.")
        if path.stat().st_size == 0:
            raise EmptyRecordingError(
                f"{path.name} is empty: the file has 0 bytes.",
                hint="Copy it from the phone again, or record again.",
            )
        with path.open("rb"):
            pass
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(f"{path} cannot be read: {reason}.") from error


def _open(path: Path) -> av.container.InputContainer:
    try:
        return av.open(
            "file:" + str(path.absolute()), mode="r", options=dict(OPTIONS), metadata_errors="replace"
        )
    except (av.error.FFmpegError, ValueError) as error:
        with path.open("rb") as file:
            head = file.read(12)
        if head[4:8] == b"ftyp":
            raise NotMediaError(
                f"{path.name} was cut off: the index that the recorder writes at the end is missing.",
                hint="Copy the whole file from the phone again, or record again.",
            ) from error
        raise NotMediaError(
            f"{path.name} is not an audio or video file that can be read.", hint=f"These can: {KINDS}."
        ) from error


def _stated_seconds(
    container: av.container.InputContainer, stream: av.AudioStream, path: Path
) -> float | None:
    """The length that the file itself states; ``None`` where it states none or FFmpeg would only guess."""
    names = set(container.format.name.split(","))
    if names & GUESSED or ("mp3" in names and not _mp3_states_length(path)):
        return None
    if stream.duration is not None and stream.time_base is not None and stream.duration > 0:
        seconds = float(stream.duration * stream.time_base)
        return seconds * _wav_cut(path) if "wav" in names else seconds
    if container.duration is not None and container.duration > 0:
        return container.duration / av.time_base
    return None


def _mp3_states_length(path: Path) -> bool:
    """Whether the first frame of an mp3 file carries a length (a Xing, Info or VBRI block)."""
    with path.open("rb") as file:
        head = file.read(10)
        if head[:3] == b"ID3" and len(head) == 10:
            size = 0
            for byte in head[6:10]:  # seven bits a byte
                size = (size << 7) | (byte & 0x7F)
            file.seek(10 + size)
        else:
            file.seek(0)
        frame = file.read(2048)
    return any(mark in frame for mark in (b"Xing", b"Info", b"VBRI"))


def _wav_cut(path: Path) -> float:
    """How many times longer than it is a wav file claims to be; FFmpeg trims the claim to the file, we want
    to know.

    1.0 for a whole file, and for one that was written as a stream and never knew its length.
    """
    with path.open("rb") as file:
        head = file.read(8)
    claimed, there = int.from_bytes(head[4:8], "little"), path.stat().st_size - 8
    if head[:4] != b"RIFF" or claimed <= there or claimed >= 0x7FFF_FF00 or there <= 0:
        return 1.0
    return claimed / there


@dataclass
class _Decoding:
    """One pass over the packets of a sound track; ``samples`` grows as raw 16-bit bytes."""

    container: av.container.InputContainer
    stream: av.AudioStream
    max_seconds: float
    samples: bytearray = field(default_factory=bytearray)
    frames: int = 0
    errors: int = 0
    hole_seconds: float = 0.0
    _resampler: av.AudioResampler | None = None
    _kind: tuple[str, str, int] | None = None  # format, layout, rate of the resampler
    _base: float | None = None  # the clock of the first frame
    _clock: float = 0.0  # seconds of sound taken in

    def run(self) -> Iterator[float]:
        """Decodes all there is; yields the seconds so far about once a second, and once past the limit."""
        told = 0.0
        for packet in self._packets():
            try:
                frames = packet.decode()
            except (av.error.FFmpegError, ValueError):
                self.errors += 1
                continue
            for frame in frames:
                if isinstance(frame, av.AudioFrame):
                    self._take(frame)
            if self._clock - told >= 1.0 or self._clock > self.max_seconds:
                told = self._clock
                yield told
        self._flush()

    def _packets(self) -> Iterator[av.Packet[av.AudioStream]]:
        """Packets of the stream. An error in the container ends PyAV's generator, so a new one reads on
        behind it."""
        failed = 0
        while failed < MAX_ERRORS_IN_A_ROW:
            try:
                for packet in self.container.demux(self.stream):
                    yield packet
                    failed = 0
                return
            except av.error.EOFError:
                return
            except av.error.FFmpegError:
                failed += 1
                self.errors += 1

    def _take(self, frame: av.AudioFrame) -> None:
        if not frame.sample_rate or not frame.samples:
            self.errors += 1
            return
        kind = (frame.format.name, frame.layout.name, frame.sample_rate)
        if (
            kind != self._kind
        ):  # some encoders change rate or channels on the way; damage can look like it too
            self._flush()
            self._resampler = av.AudioResampler(format="s16", layout="mono", rate=RATE)
            self._kind = kind
        self._fill_hole(frame)
        frame.pts = None  # holes are filled here; the resampler must not try its own way
        assert self._resampler is not None
        try:
            self._append(self._resampler.resample(frame))
        except (av.error.FFmpegError, ValueError):
            self.errors += 1
            return
        self.frames += 1
        self._clock += frame.samples / frame.sample_rate

    def _fill_hole(self, frame: av.AudioFrame) -> None:
        if frame.time is None:
            return
        if self._base is None:
            # A sound track that starts after the picture starts late on the player's clock too.
            started = (self.container.start_time or 0) / av.time_base
            self._base = started if 0 <= frame.time - started < MAX_HOLE_SECONDS else frame.time
        gap = (frame.time - self._base) - self._clock
        if gap > MAX_HOLE_SECONDS or gap < -MAX_HOLE_SECONDS:
            self._base = frame.time - self._clock
        elif gap > HOLE_SECONDS:
            self.samples.extend(bytes(2 * round(gap * RATE)))
            self._clock += gap
            if self.frames:
                self.hole_seconds += gap

    def _flush(self) -> None:
        if self._resampler is not None:
            try:
                self._append(self._resampler.resample(None))
            except (av.error.FFmpegError, ValueError):
                self.errors += 1

    def _append(self, frames: list[av.AudioFrame]) -> None:
        for frame in frames:
            self.samples.extend(frame.to_ndarray().astype(np.int16, copy=False).tobytes())


def _note(seconds: float, stated: float | None, decoding: _Decoding) -> str:
    parts = []
    if stated is not None and stated - seconds > SHORT_BY_SECONDS:
        parts.append(
            f"The file says it is {_length(stated)} long, but only {_length(seconds)} could be read; "
            "the rest is missing."
        )
    if decoding.hole_seconds >= MIN_GAP_SECONDS:
        parts.append(
            f"The file has gaps without sound, {_length(decoding.hole_seconds)} in all; words may be missing."
        )
    if decoding.errors > 1:
        parts.append(f"The file is damaged in {decoding.errors} places; words may be missing or wrong.")
    return " ".join(parts)


def _too_long(path: Path, how_long: str, *, max_seconds: float) -> TooLongError:
    return TooLongError(
        f"{path.name} is {how_long}; the limit is {_length(max_seconds)}.",
        hint="Split it into one recording for each vehicle.",
    )


def _length(seconds: float) -> str:
    """Seconds in words: "45 s", "12 min 5 s", "3 h 20 min"."""
    whole = round(seconds)
    hours, rest = divmod(whole, 3600)
    minutes, left = divmod(rest, 60)
    if hours:
        return f"{hours} h {minutes} min" if minutes else f"{hours} h"
    if minutes:
        return f"{minutes} min {left} s" if left else f"{minutes} min"
    return f"{seconds:.1f} s" if seconds < 10 and seconds != whole else f"{whole} s"


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
