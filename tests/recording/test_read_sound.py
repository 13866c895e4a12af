"""Media files of every kind, whole, damaged and wrong."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from voicecheck.recording import RATE, read_sound, sound_from_samples
from voicecheck.records import (
    EmptyRecordingError,
    InputError,
    NoSoundError,
    NotMediaError,
    TooLongError,
)

Maker = Callable[..., Path]
SOUND_FILES = ["a.wav", "a.mp3", "a.m4a", "a.aac", "a.ogg", "a.opus", "a.webm", "a.mp4", "a.mov", "a.flac"]
STATED = [name for name in SOUND_FILES if name != "a.aac"]  # an aac stream has no place for its length


def pitch(samples: np.ndarray) -> float:
    spectrum = np.abs(np.fft.rfft(samples.astype(np.float64) * np.hanning(len(samples))))
    return float(np.argmax(spectrum) * RATE / len(samples))


def broken(path: Path, name: str, change: Callable[[bytearray], bytearray]) -> Path:
    """A copy of ``path`` under ``name`` with ``change`` applied to its bytes."""
    other = path.with_name(name)
    other.write_bytes(change(bytearray(path.read_bytes())))
    return other


def cut(share: float) -> Callable[[bytearray], bytearray]:
    return lambda data: data[: int(len(data) * share)]


def hole(data: bytearray) -> bytearray:
    middle = len(data) // 2
    data[middle : middle + 3000] = b"\xff\x00\x55" * 1000
    return data


@pytest.mark.parametrize("channels", [1, 2])
@pytest.mark.parametrize("name", SOUND_FILES)
def test_sound_of_every_kind(media: Maker, name: str, channels: int) -> None:
    path = media(name, seconds=4.0, channels=channels)
    sound = read_sound(path)
    assert sound.samples.dtype == np.int16
    assert sound.seconds == pytest.approx(4.0, abs=0.06)
    assert pitch(sound.samples[RATE // 2 : 3 * RATE // 2]) == pytest.approx(440, abs=3)
    assert pitch(sound.samples[5 * RATE // 2 : 7 * RATE // 2]) == pytest.approx(880, abs=3)
    loud = np.sqrt(np.mean(np.square(sound.floats(0.5, 3.5))))
    assert loud == pytest.approx(0.5 / np.sqrt(2), rel=0.08)
    assert sound.name == name
    assert sound.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert sound.note == ""
    if name in STATED:
        assert sound.stated_seconds == pytest.approx(4.0, abs=0.06)
    else:
        assert sound.stated_seconds is None


@pytest.mark.parametrize("name", ["v.mp4", "v.mov", "v.webm"])
def test_sound_track_of_a_video(media: Maker, name: str) -> None:
    sound = read_sound(media(name, picture=True))
    assert sound.seconds == pytest.approx(4.0, abs=0.06)
    assert pitch(sound.samples[RATE // 2 : 3 * RATE // 2]) == pytest.approx(440, abs=3)


@pytest.mark.parametrize("name", ["v.mp4", "v.mov", "v.webm"])
def test_sound_that_starts_after_the_picture_keeps_the_players_clock(media: Maker, name: str) -> None:
    sound = read_sound(media(name, picture=True, sound_from=1.0))
    assert sound.seconds == pytest.approx(5.0, abs=0.06)
    assert np.abs(sound.floats(0.0, 0.8)).max() < 0.001
    assert np.abs(sound.floats(1.2, 2.0)).max() > 0.4


@pytest.mark.parametrize("name", ["v.mp4", "v.mov", "v.webm"])
def test_video_without_sound(media: Maker, name: str) -> None:
    with pytest.raises(NoSoundError, match=f"{name} has no sound track"):
        read_sound(media(name, picture=True, sound=False))


@pytest.mark.parametrize("name", ["a.wav", "a.mp3", "a.webm", "a.flac"])
def test_cut_off_file_gives_what_is_there_and_says_so(media: Maker, name: str) -> None:
    sound = read_sound(broken(media(name, seconds=60), f"cut{name[1:]}", cut(0.6)))
    assert sound.seconds == pytest.approx(36, abs=1.5)
    assert sound.stated_seconds == pytest.approx(60, abs=0.1)
    assert "says it is 1 min long" in sound.note


def test_wav_that_was_written_as_a_stream_is_not_called_cut_off(media: Maker) -> None:
    def endless(data: bytearray) -> bytearray:
        data[4:8] = b"\xff\xff\xff\xff"
        return data

    assert read_sound(broken(media("a.wav"), "stream.wav", endless)).note == ""


@pytest.mark.parametrize("name", ["a.m4a", "a.mp4", "a.mov"])
def test_file_cut_off_before_its_index(media: Maker, name: str) -> None:
    with pytest.raises(NotMediaError, match="was cut off"):
        read_sound(broken(media(name, seconds=20), f"cut{name[1:]}", cut(0.6)))


def test_fragmented_mp4_survives_a_cut(media: Maker) -> None:
    fragmented = media(
        "a.mp4",
        seconds=60,
        options={"movflags": "frag_keyframe+empty_moov", "frag_duration": "1000000"},
    )
    sound = read_sound(broken(fragmented, "cut.mp4", cut(0.6)))
    assert sound.seconds == pytest.approx(36, abs=1.5)


@pytest.mark.parametrize("name", ["a.mp3", "a.aac", "a.m4a", "a.ogg", "a.webm", "a.mp4"])
def test_damage_in_the_middle_costs_only_itself(media: Maker, name: str) -> None:
    sound = read_sound(broken(media(name, seconds=60), f"hole{name[1:]}", hole))
    assert sound.seconds == pytest.approx(60, abs=0.5)
    assert pitch(sound.samples[10 * RATE : 11 * RATE]) == pytest.approx(440, abs=3)
    assert pitch(sound.samples[55 * RATE : 56 * RATE]) == pytest.approx(880, abs=3)
    if name in ("a.m4a", "a.mp4", "a.ogg", "a.webm"):
        assert "words may be missing" in sound.note


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("notes.pdf", b"%PDF-1.4\n" + b"a page of notes " * 200),
        ("notes.txt", b"the left front tyre is worn\n" * 300),
        ("noise.mp3", np.random.default_rng(7).integers(0, 256, 60_000, dtype=np.uint8).tobytes()),
        ("list.m3u8", b"#EXTM3U\n#EXT-X-TARGETDURATION:10\n#EXTINF:10,\na.aac\n#EXT-X-ENDLIST\n"),
        ("list.m4a", b"ffconcat version 1.0\nfile 'a.wav'\n"),
        ("one.wav", b"R"),
    ],
)
def test_other_files_are_refused(media: Maker, tmp_path: Path, name: str, content: bytes) -> None:
    media("a.wav")  # what the lists point to: there, and yet not opened
    media("a.aac")
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(NotMediaError, match=f"{name} is not an audio or video file") as caught:
        read_sound(path)
    assert "m4a" in caught.value.hint


def test_file_named_like_an_address_is_opened_as_a_file(
    media: Maker, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    media("a.wav").rename(tmp_path / "http:x.wav")
    monkeypatch.chdir(tmp_path)
    assert read_sound(Path("http:x.wav")).seconds == pytest.approx(4.0)


def test_zero_bytes(tmp_path: Path) -> None:
    path = tmp_path / "empty.m4a"
    path.touch()
    with pytest.raises(EmptyRecordingError, match=r"empty\.m4a is empty: the file has 0 bytes"):
        read_sound(path)


@pytest.mark.parametrize("seconds", [0.05, 0.2])
def test_too_short(media: Maker, seconds: float) -> None:
    with pytest.raises(EmptyRecordingError, match="is empty"):
        read_sound(media("short.wav", seconds=seconds))


@pytest.mark.parametrize(
    ("place", "words"),
    [("", "is a folder"), ("none.wav", "There is no file"), ("a\0b.wav", "cannot be read|There is no file")],
)
def test_paths_that_are_no_file(tmp_path: Path, place: str, words: str) -> None:
    with pytest.raises(InputError, match=words):
        read_sound(tmp_path / place)


def test_device_is_not_a_recording() -> None:
    if not Path(os.devnull).exists() or os.name != "posix":
        pytest.skip("no device file on this system")
    with pytest.raises(InputError, match="not an ordinary file"):
        read_sound(Path(os.devnull))


def test_file_that_may_not_be_read(media: Maker, monkeypatch: pytest.MonkeyPatch) -> None:
    path = media("a.wav")

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(InputError, match="Permission denied"):
        read_sound(path)


def test_too_long_is_refused_before_decoding(media: Maker, monkeypatch: pytest.MonkeyPatch) -> None:
    path = media("a.m4a", seconds=4.0)
    monkeypatch.setattr("voicecheck.recording.media._Decoding", None)  # decoding would now fail
    with pytest.raises(TooLongError, match=r"a\.m4a is 4 s long; the limit is 3 s") as caught:
        read_sound(path, max_seconds=3.0)
    assert "Split" in caught.value.hint


def test_too_long_without_a_stated_length_is_noticed_while_decoding(media: Maker) -> None:
    with pytest.raises(TooLongError, match="longer than 3 s"):
        read_sound(media("a.aac", seconds=6.0), max_seconds=3.0)


def test_progress_rises_to_one(media: Maker) -> None:
    shares: list[float] = []
    read_sound(media("a.ogg", seconds=5.0), progress=shares.append)
    assert len(shares) >= 4
    assert shares == sorted(shares)
    assert shares[-1] == 1.0


def test_samples_cannot_be_changed(media: Maker) -> None:
    with pytest.raises(ValueError, match="read-only"):
        read_sound(media("a.wav")).samples[0] = 1


def test_double_keeps_what_it_is_given() -> None:
    wave = np.linspace(-1.0, 1.0, RATE, dtype=np.float32)
    sound = sound_from_samples(wave, name="ramp")
    assert sound.seconds == 1.0
    assert np.abs(sound.floats() - wave).max() < 1e-4
    assert len(sound.floats(0.25, 0.5)) == RATE // 4
    assert len(sound.floats(0.75, 9.0)) == RATE // 4
    assert sound.sha256 == sound_from_samples(sound.samples).sha256
    assert sound.sha256 != sound_from_samples(wave[:-1]).sha256


@pytest.mark.parametrize(
    ("samples", "rate", "words"),
    [
        (np.zeros(10, np.float32), 8_000, "8000 Hz"),
        (np.zeros((10, 2), np.float32), RATE, "one channel"),
        (np.zeros(10, np.int64), RATE, "int64"),
        (np.array([np.nan], np.float32), RATE, "finite"),
    ],
)
def test_double_refuses_what_it_cannot_hold(samples: np.ndarray, rate: int, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        sound_from_samples(samples, rate=rate)
