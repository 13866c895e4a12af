"""Whatever is given, the answer is one clear sentence or an honest draft; nothing is left half-written."""

from __future__ import annotations

import fcntl
import functools
import os
import re
import resource
import signal
import struct
import subprocess
import termios
import time
from collections.abc import Callable
from pathlib import Path

import av
import numpy as np
import pytest
from cli_kit import ROOT, Ran, command, environment, run
from media_kit import write_media
from numpy.typing import NDArray

from voicecheck import cli, pipeline
from voicecheck.documents import from_json
from voicecheck.recording import RATE, Sound, media
from voicecheck.records import RecordingError, Transcript
from voicecheck.speech import ScriptedRecogniser

NOTES = b"Front pads at two mil, replace them. Left outer tie rod end has play."

pytestmark = pytest.mark.usefixtures("quick_shop")


class Deaf:
    """Fails the test if it is made to listen."""

    def hear(self, sound: Sound, **_: object) -> Transcript:
        pytest.fail(f"{sound.name} was listened to")


@pytest.fixture
def deaf(monkeypatch: pytest.MonkeyPatch) -> None:
    """For files that must be refused before anyone listens."""
    monkeypatch.setattr(cli, "_recogniser", lambda model, **_: Deaf())


@pytest.fixture
def scripted(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cli, "_recogniser", lambda model, **_: ScriptedRecogniser(NOTES.decode()))


def refused(file: Path, *more: str | Path) -> str:
    """The sentence of a draft that is refused, which must name the file and leave no document."""
    out = file.parent / "out.html"
    complaint = run("draft", file, "--html", out, *more).complaint
    assert file.name in complaint
    assert list(file.parent.glob("out*")) == []
    assert list(file.parent.glob(".voicecheck*")) == []
    return complaint


# -- recordings that are none ------------------------------------------------------------------------------

NOT_MEDIA = {
    "a.pdf": b"%PDF-1.7\n1 0 obj\n<< /Type /Catalog >>\nendobj\n" + bytes(range(256)) * 40 + b"%%EOF",
    "photo.jpg": b"\xff\xd8\xff\xe0\x00\x10JFIF\x00\x01" + bytes(range(256)) * 40 + b"\xff\xd9",
    "notes.txt": b"Front pads at two mil, replace them.\n" * 40,
    "renamed.wav": b"Front pads at two mil, replace them.\n" * 40,
    "renamed.mp3": bytes((n * 167 + n // 7) % 256 for n in range(20_000)),
    "office.docx": b"PK\x03\x04" + bytes((n * 31) % 256 for n in range(4000)),
    "playlist.m3u8": b"#EXTM3U\n#EXTINF:10,\nhttp://127.0.0.1:9/a.wav\n",
    "script.ffconcat": b"ffconcat version 1.0\nfile /etc/hostname\n",
    "zeros.m4a": bytes(10_000),
}


@pytest.mark.parametrize("name", sorted(NOT_MEDIA))
def test_not_a_recording(name: str, tmp_path: Path, deaf: None) -> None:
    (tmp_path / name).write_bytes(NOT_MEDIA[name])
    assert "is not an audio or video file" in refused(tmp_path / name)


def test_empty_file(tmp_path: Path, deaf: None) -> None:
    (tmp_path / "empty.wav").touch()
    assert "is empty" in refused(tmp_path / "empty.wav")


def test_video_without_sound(tmp_path: Path, deaf: None) -> None:
    path = write_media(tmp_path / "a.mp4", seconds=1.0, picture=True, sound=False)
    assert "no sound track" in refused(path)


def test_shorter_than_a_word(tmp_path: Path, deaf: None) -> None:
    assert "only 0.10 s" in refused(write_media(tmp_path / "a.wav", seconds=0.1))


def cut(path: Path, share: float) -> Path:
    whole = path.read_bytes()
    path.write_bytes(whole[: int(len(whole) * share)])
    return path


@pytest.mark.parametrize("kind", ["wav", "ogg", "webm"])
def test_cut_off_recording_gives_a_draft_that_says_so(kind: str, tmp_path: Path, scripted: None) -> None:
    path = cut(write_media(tmp_path / f"a.{kind}", seconds=8.0), 0.5)
    ran = run("draft", path, "--json")
    made = from_json(ran.out)
    assert made.findings
    assert made.recording.seconds is not None
    assert made.recording.seconds < 6.0
    if kind == "wav":  # the others do not say how long they should be
        assert made.transcript.note.count("the rest is missing") == 1
        assert any("the rest is missing" in ask.message for ask in made.asks)


@pytest.mark.parametrize("kind", ["mp4", "mov", "m4a"])
def test_cut_off_recording_without_its_index(kind: str, tmp_path: Path, deaf: None) -> None:
    assert "was cut off" in refused(cut(write_media(tmp_path / f"a.{kind}", seconds=4.0), 0.5))


@pytest.mark.parametrize("keep", [0, 1, 11, 44, 60, 200])
def test_header_and_no_more(keep: int, tmp_path: Path, deaf: None) -> None:
    path = write_media(tmp_path / "a.wav", seconds=1.0)
    path.write_bytes(path.read_bytes()[:keep])
    refused(path)


def stating(path: Path, seconds: float) -> Path:
    """A small wav file whose header states that many seconds (8 kHz, 8 bits)."""
    size = round(seconds * 8000)
    head = struct.pack(
        "<4sI4s4sIHHIIHH4sI",
        *(b"RIFF", size + 36, b"WAVE", b"fmt ", 16, 1, 1, 8000, 8000, 1, 8, b"data", size),
    )
    path.write_bytes(head + bytes([128, 140] * 8000))  # two seconds
    return path


def test_longer_than_the_limit_is_refused_from_its_header(tmp_path: Path, deaf: None) -> None:
    complaint = refused(stating(tmp_path / "a.wav", 3.5 * 3600.0))
    assert re.search(r"is 3 h \d\d min long; the limit is 3 h\.", complaint)


def test_three_hours_are_taken(tmp_path: Path, scripted: None) -> None:
    """A header of three hours passes; what is not there is told."""
    ran = run("draft", stating(tmp_path / "a.wav", 3 * 3600.0 - 1), "--json")
    made = from_json(ran.out)
    assert made.recording.seconds == pytest.approx(2.0, abs=0.01)
    assert "but only 2 s could be read" in made.transcript.note


def test_a_length_that_is_not_stated_is_seen_while_decoding(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, deaf: None
) -> None:
    """A stand-in for hours: with a limit of 2 s, a stream of 20 s that states no length is stopped there, so
    that the limit bounds the memory."""
    held: list[int] = []
    append = media._Decoding._append

    def counted(self: media._Decoding, frames: list[av.AudioFrame]) -> None:
        append(self, frames)
        held.append(len(self.samples))

    monkeypatch.setattr(media._Decoding, "_append", counted)
    monkeypatch.setattr(pipeline, "read_sound", functools.partial(media.read_sound, max_seconds=2.0))
    path = write_media(tmp_path / "a.aac", seconds=20.0)
    assert refused(path) == "a.aac is longer than 2 s; the limit is 2 s."
    bytes_a_second = 2 * RATE
    assert 2 * bytes_a_second <= max(held) < 4 * bytes_a_second


def silence(seconds: float, rate: int) -> NDArray[np.float64]:
    return np.zeros(round(seconds * rate))


def noise(seconds: float, rate: int) -> NDArray[np.float64]:
    return np.clip(0.2 * np.random.default_rng(1).standard_normal(round(seconds * rate)), -1, 1)


def music(seconds: float, rate: int) -> NDArray[np.float64]:
    """A plucked scale: each note with two overtones, dying away."""
    t = np.arange(round(seconds * rate)) / rate
    wave = np.zeros(len(t))
    for at, note in enumerate([262, 294, 330, 349, 392, 440, 494, 523] * 10):
        since = t - at * 0.4
        for overtone in (1, 2, 3):
            ringing = (since >= 0) & (since < 1.0)
            wave += ringing * 0.1 / overtone * np.sin(2 * np.pi * note * overtone * t) * np.exp(-3 * since)
    return wave


@pytest.mark.audio
@pytest.mark.parametrize(
    ("made_of", "reason"),
    [(silence, "is silent throughout"), (noise, "No speech was heard"), (music, "No speech was heard")],
)
def test_no_speech_gives_an_empty_draft_with_the_reason(
    made_of: Callable[[float, int], NDArray[np.float64]], reason: str, tmp_path: Path
) -> None:
    path = write_media(tmp_path / "a.wav", seconds=8.0, samples=made_of)
    ran = run("draft", path, "--json", "--model", "tiny.en", "--html", tmp_path / "a.html")
    assert ran.status == 0, ran.err
    made = from_json(ran.out)
    assert made.findings == ()
    assert made.estimate.jobs == ()
    assert made.transcript.words == ()
    assert reason in made.transcript.note
    assert any(reason in ask.message for ask in made.asks)
    assert reason in (tmp_path / "a.html").read_text(encoding="utf-8")


def test_no_words_gives_an_empty_draft_on_the_terminal(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(
        cli, "_recogniser", lambda model, **_: ScriptedRecogniser("", note="No speech was heard.")
    )
    ran = run("draft", write_media(tmp_path / "a.wav", seconds=1.0))
    assert ran.status == 0
    assert "No speech was heard." in ran.out
    assert "no total" in ran.out
    assert "No speech was heard." in run("listen", tmp_path / "a.wav").out


def test_another_language(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    class Foreign(Deaf):
        def hear(self, sound: Sound, **_: object) -> Transcript:
            raise RecordingError(f"{sound.name} sounds like German, not English.", hint="Only English.")

    monkeypatch.setattr(cli, "_recogniser", lambda model, **_: Foreign())
    path = write_media(tmp_path / "a.wav", seconds=1.0)
    assert refused(path) == "a.wav sounds like German, not English."


# -- paths -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("words", [["draft"], ["draft", "--text"], ["listen"]])
def test_missing_file_and_folder(words: list[str], tmp_path: Path, deaf: None) -> None:
    assert "There is no file" in run(*words, tmp_path / "none.wav").complaint
    assert "is a folder" in run(*words, tmp_path).complaint
    (tmp_path / "f").touch()
    assert "none.wav" in run(*words, tmp_path / "f" / "none.wav").complaint


@pytest.mark.parametrize("name", ["draft", "listen"])
def test_a_recording_from_standard_input(name: str, deaf: None) -> None:
    assert "standard input" in run(name, "-", stdin=b"RIFF").complaint


def test_pipe_as_a_recording(tmp_path: Path, deaf: None) -> None:
    os.mkfifo(tmp_path / "pipe.wav")
    assert "not an ordinary file" in refused(tmp_path / "pipe.wav")


def test_measure_of_what_is_no_folder_of_labels(tmp_path: Path, deaf: None) -> None:
    assert "There is no folder" in run("measure", tmp_path / "none").complaint
    (tmp_path / "f").touch()
    assert "is a file" in run("measure", tmp_path / "f").complaint
    (tmp_path / "empty").mkdir()
    assert "empty" in run("measure", tmp_path / "empty").complaint


# -- typed text --------------------------------------------------------------------------------------------

NO_TEXT = {
    "latin-1": "Bremsbeläge vorne".encode("latin-1"),
    "zeros": b"Front pads\0 two mil",
    "recording": b"RIFF\x24\x00\x00\x00WAVEfmt \x10\x00\x00\x00\x01\x00",
    "half utf-16": b"\xff\xfeF\x00r",
    "jpg": NOT_MEDIA["photo.jpg"],
}


@pytest.mark.parametrize("kind", sorted(NO_TEXT))
def test_text_that_is_none(kind: str, tmp_path: Path) -> None:
    assert "not plain text" in run("draft", "--text", "-", stdin=NO_TEXT[kind]).complaint
    (tmp_path / "notes.txt").write_bytes(NO_TEXT[kind])
    assert "not plain text" in refused(tmp_path / "notes.txt", "--text")


@pytest.mark.parametrize("said", [b"", b" \n\t ", b"... -- ?!", "\ufeff".encode()])
def test_text_without_a_word(said: bytes) -> None:
    assert "holds no words" in run("draft", "--text", "-", stdin=said).complaint


def test_text_that_goes_on_for_ever(monkeypatch: pytest.MonkeyPatch) -> None:
    """No more is read than could be used."""
    assert "more than 1,000,000 bytes" in run("draft", "--text", "/dev/zero").complaint
    monkeypatch.setattr(pipeline, "MAX_TEXT_CHARS", 1000)
    assert "more than 4,000 bytes" in run("draft", "--text", "-", stdin=b"pads " * 1000).complaint
    assert (
        "has 2,500 characters; at most 1,000" in run("draft", "--text", "-", stdin=b"pads " * 500).complaint
    )


def test_text_with_everything_in_it() -> None:
    said = "Front [bold]pads[/] <script>x</script> \x1b[31m\x07 2 mm \u202e 🚗 é\u0301 {{ x }} %s =1+1\r\n"
    ran = run("draft", "--text", "-", stdin=said.encode())
    assert ran.status == 0
    assert "\x1b" not in ran.out
    assert "\x07" not in ran.out
    assert from_json(run("draft", "--text", "-", "--json", stdin=said.encode()).out).transcript.words


def test_no_standard_input() -> None:
    done = subprocess.run(
        ["sh", "-c", '"$@" <&-', "sh", *command("draft", "--text", "-")],
        capture_output=True,
        env=environment(),
        timeout=60,
        check=False,
    )
    assert "There is no standard input" in Ran(done.returncode, "", done.stderr.decode()).complaint


# -- the shop's files --------------------------------------------------------------------------------------


def draft_with(option: str, path: Path) -> Ran:
    return run("draft", "--text", "-", option, path, stdin=NOTES)


def test_broken_rows_of_a_catalogue(tmp_path: Path) -> None:
    path = tmp_path / "mine.csv"
    head = "code,name,system,component,action,per,hours\n"
    path.write_text(head + "A,One,brakes,brake_pads,replace,axle,lots\n")
    assert "mine.csv:2 [hours]" in draft_with("--catalogue", path).complaint
    path.write_text(head + "A,One,brakes,brake_pads,replace,axle,lots\nA,Two,brakes,pads?,replace,axle,1.0\n")
    ran = draft_with("--catalogue", path)
    assert ran.status == 2
    assert "3 faults" in ran.err.splitlines()[0]
    for where in ("mine.csv:2 [hours]", "mine.csv:3 [code]", "mine.csv:3 [component]"):
        assert f"  {where}: " in ran.err
    rows = "".join(f"A{n},One,brakes,brake_pads,replace,axle,lots\n" for n in range(50))
    path.write_text(head + rows)
    assert "… and 30 more" in draft_with("--catalogue", path).err


def test_broken_rows_of_the_prices(tmp_path: Path) -> None:
    good = (ROOT / "shared" / "prices.us.yaml").read_text()
    path = tmp_path / "mine.yaml"
    path.write_text(good.replace("labour_rate: 135.00", "labour_rate: a lot"))
    assert "mine.yaml" in draft_with("--prices", path).complaint
    path.write_text("labour_rate: [\n")
    assert "mine.yaml" in draft_with("--prices", path).complaint
    uk = ROOT / "shared" / "prices.uk.yaml"
    assert "the market is US" in draft_with("--prices", uk).complaint


def test_broken_rows_of_the_terms(tmp_path: Path) -> None:
    own = tmp_path / "own"
    own.mkdir()
    (own / "conditions.csv").write_text("id,name,said,fits,state,severity\nodd,odd,odd,any,perhaps,soon\n")
    complaint = draft_with("--lexicon", own).complaint
    assert "own/conditions.csv:2 [state]" in complaint
    (own / "cues.csv").write_text("kind,said,value\nnegaton,nope,\n")
    ran = draft_with("--lexicon", own)
    assert ran.status == 2
    assert "  own/cues.csv:2 [kind]: " in ran.err
    assert "lexicon/" not in ran.err  # of the shipped files there is nothing to say


@pytest.mark.parametrize("option", ["--catalogue", "--prices", "--lexicon"])
def test_missing_or_odd_files_of_the_shop(option: str, tmp_path: Path) -> None:
    assert "none.csv" in draft_with(option, tmp_path / "none.csv").complaint
    (tmp_path / "blob.csv").write_bytes(NOT_MEDIA["photo.jpg"])
    assert "blob.csv" in draft_with(option, tmp_path / "blob.csv").complaint
    (tmp_path / "empty").mkdir()
    assert "empty" in draft_with(option, tmp_path / "empty").complaint


def test_checks_of_what_is_not_there(tmp_path: Path) -> None:
    assert "There is no folder" in run("lexicon", "check", tmp_path / "none").complaint
    assert "There is no file" in run("catalogue", "check", tmp_path / "none.csv").complaint


def test_missing_model(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("VOICECHECK_CACHE", str(tmp_path / "cache"))
    path = write_media(tmp_path / "a.wav", seconds=1.0)
    for model, sentence in (
        ("base", "The speech weights “base” are not on this machine"),
        ("enormous", "There are no speech weights “enormous”"),
        (str(tmp_path), "is not a speech model"),
    ):
        ran = run("draft", path, "--model", model)
        assert sentence in ran.complaint
    assert "voicecheck weights base" in run("draft", path).err
    assert "no speech weights" in run("weights", "enormous").complaint


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["--bogus"], "--bogus"),
        (["draft", "--bogus"], "--bogus"),
        (["draft"], "FILE"),
        (["draft", "a", "b"], "unexpected extra argument"),
        (["draft", "a", "--market", "FR"], "FR"),
        (["nonsense"], "nonsense"),
        (["lexicon"], "Missing command"),
        (["catalogue", "chekc"], "chekc"),
    ],
)
def test_unknown_option_or_command(arguments: list[str], sentence: str) -> None:
    assert sentence in run(*arguments).complaint


# -- outputs -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("option", ["--html", "--csv", "--json-out"])
def test_output_that_cannot_be_written_is_told_before_any_work(
    option: str, tmp_path: Path, deaf: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pipeline, "load_workshop", lambda **_: pytest.fail("work was begun"))
    recording = write_media(tmp_path / "a.wav", seconds=1.0)
    (tmp_path / "file").write_text("kept")
    targets = {
        tmp_path / "none" / "out": "the folder does not exist",
        tmp_path / "file" / "out": "not a folder",
        tmp_path: "is a folder",
        tmp_path / ("x" * 300): "the name is too long",
        Path("/dev/null"): "not an ordinary file",
    }
    if Path("/proc/self").is_dir():
        targets[Path("/proc/out")] = "no file can be made in that folder"
    for target, reason in targets.items():
        complaint = run("draft", recording, option, target).complaint
        assert complaint.startswith(f"Cannot write {target}: ")
        assert reason in complaint
    assert {p.name for p in tmp_path.iterdir()} == {"a.wav", "file"}
    assert (tmp_path / "file").read_text() == "kept"


def test_output_over_an_input_or_another_output(tmp_path: Path, deaf: None) -> None:
    recording = write_media(tmp_path / "a.wav", seconds=1.0)
    before = recording.read_bytes()
    (tmp_path / "link.html").symlink_to(recording)
    assert "would be overwritten" in run("draft", recording, "--html", recording).complaint
    assert "would be overwritten" in run("draft", recording, "--html", tmp_path / "link.html").complaint
    out = tmp_path / "out"
    assert "named twice" in run("draft", recording, "--html", out, "--csv", out).complaint
    assert recording.read_bytes() == before
    assert not out.exists()


def limited() -> None:
    """In a child: no file may grow past 200 kB, as if the disk were full then."""
    resource.setrlimit(resource.RLIMIT_FSIZE, (200_000, 200_000))


def test_disk_that_fills_up_while_writing(tmp_path: Path) -> None:
    """The check before the work sees room; the draft of a long text has none."""
    (tmp_path / "old.json").write_text("old")
    done = subprocess.run(
        command("draft", "--text", "-", "--json-out", tmp_path / "old.json"),
        input=NOTES * 200,
        capture_output=True,
        env=environment(),
        preexec_fn=limited,
        timeout=120,
        check=False,
    )
    ran = Ran(done.returncode, done.stdout.decode(), done.stderr.decode())
    assert "Cannot write" in ran.complaint
    assert [p.name for p in tmp_path.iterdir()] == ["old.json"]
    assert (tmp_path / "old.json").read_text() == "old"


def test_full_disk_behind_standard_output() -> None:
    if not Path("/dev/full").exists():
        pytest.skip("there is no /dev/full here")
    with Path("/dev/full").open("wb") as full:
        done = subprocess.run(
            command("draft", "--text", "-", "--json"),
            input=NOTES,
            stdout=full,
            stderr=subprocess.PIPE,
            env=environment(),
            timeout=120,
            check=False,
        )
    assert "Cannot write to standard output" in Ran(done.returncode, "", done.stderr.decode()).complaint


def test_reader_that_goes_away() -> None:
    process = subprocess.Popen(
        command("draft", "--text", "-"),
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env=environment(),
    )
    assert process.stdin is not None
    assert process.stdout is not None
    assert process.stderr is not None
    process.stdout.close()
    process.stdin.write(NOTES)
    process.stdin.close()
    told = process.stderr.read().decode()
    process.stderr.close()
    assert process.wait(timeout=120) == 1
    assert told == ""


def test_two_at_once_write_the_same_file(tmp_path: Path) -> None:
    out = tmp_path / "out.json"
    said = [b"Front pads at two mil, replace them.", b"Left outer tie rod end has play, replace it."]
    running = []
    for text in said:
        process = subprocess.Popen(
            command("draft", "--text", "-", "--json-out", out),
            stdin=subprocess.PIPE,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            env=environment(),
        )
        assert process.stdin is not None
        process.stdin.write(text)
        process.stdin.close()
        running.append(process)
    assert [process.wait(timeout=120) for process in running] == [0, 0]
    for process in running:
        assert process.stderr is not None
        process.stderr.close()
    assert from_json(out.read_text(encoding="utf-8")).transcript.text.encode() in said
    assert [p.name for p in tmp_path.iterdir()] == ["out.json"]


def test_ctrl_c_while_reading(tmp_path: Path) -> None:
    """The process waits for typed words, is interrupted, and says nothing but the end of a line."""
    out = tmp_path / "out.html"
    process = subprocess.Popen(
        command("draft", "--text", "-", "--html", out),
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env=environment(),
        # what runs in the background of a shell is started deaf to ^C, and hands that on
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )
    assert process.stdin is not None
    process.stdin.write(b"Front pads")
    process.stdin.flush()
    _until_read(process.stdin.fileno())
    process.send_signal(signal.SIGINT)
    shown, told = process.communicate(timeout=60)
    assert process.returncode == 130
    assert (shown, told.strip()) == (b"", b"")
    assert list(tmp_path.iterdir()) == []


def _until_read(pipe: int) -> None:
    """Until nothing is left in a pipe: the process at its other end has read it, and waits for more."""
    end = time.monotonic() + 60
    while time.monotonic() < end:
        left = struct.unpack("i", fcntl.ioctl(pipe, termios.FIONREAD, bytes(4)))[0]
        if left == 0:
            return
        time.sleep(0.05)
    pytest.fail("the process does not read")


@pytest.mark.parametrize("stage", ["listening", "writing"])
def test_ctrl_c_in_the_middle_of_work(stage: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupt(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    recogniser = ScriptedRecogniser(NOTES.decode())
    monkeypatch.setattr(cli, "_recogniser", lambda model, **_: recogniser)
    recording = write_media(tmp_path / "a.wav", seconds=1.0)
    if stage == "listening":
        monkeypatch.setattr(recogniser, "hear", interrupt)
        ran = run("draft", recording, "--html", tmp_path / "out.html")
    else:
        monkeypatch.setattr(cli, "check_outputs", lambda *_, **__: None)
        monkeypatch.setattr(os, "fsync", interrupt)
        ran = run("draft", recording, "--html", tmp_path / "out.html")
    assert ran.status == 130
    assert ran.out == ""
    assert ran.err.strip() == ""
    assert [p.name for p in tmp_path.iterdir()] == ["a.wav"]
