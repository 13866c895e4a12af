"""Conditions laid over clean recordings while they are measured: noise, rooms, speed, telephone, clipping.

Everything is made from a seed with numpy, so that the same recording in the same condition gives the same
samples. The noises are invented, and tell how one version compares with another; ``real…`` takes recordings
of noise and rooms from a folder that is not part of the project.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import cast

import numpy as np
from numpy.typing import NDArray

from voicecheck.recording import RATE, read_sound
from voicecheck.records import InputError, Record

Samples = NDArray[np.float32]
Wave = NDArray[np.float64]
Source = Callable[[int, np.random.Generator], Wave]

FRAME_S = 0.02
QUIET = 10**-3.5  # of the loudest frame's power: below, nobody speaks
PEAK = 0.97  # a mix that would clip is turned down as a whole
ROOM_S = (
    0.5  # time in which the made-up bay's sound falls by 60 dB; common practice for a tiled, part-empty room
)
TELEPHONE_HZ = (300.0, 3400.0)
CLIPPED_SHARE = 0.10  # of the samples while someone speaks: a recording level far too high
LEVELS_DB = (20, 10, 5)
_HINT = "Name their folder: --noise DIR."


class Condition(Record):
    """How a recording is changed: ``kind`` with ``level`` (dB of speech over noise, or a factor of speed)."""

    name: str
    kind: str
    level: float = 0.0
    what: str


@dataclass(frozen=True, kw_only=True)
class RealNoise:
    """Recordings of real noise and of real rooms (impulse responses), 16 kHz mono float32."""

    noises: tuple[Samples, ...] = ()
    rooms: tuple[Samples, ...] = ()


def known_conditions() -> dict[str, Condition]:
    """Every condition by its name, the order in which they are shown."""
    found = [Condition(name="clean", kind="clean", what="the recording as it is")]
    for kind, what in _NOISE_NAMES.items():
        found += [
            Condition(
                name=f"{kind}{level}", kind=kind, level=level, what=f"{what}, {level} dB under the speech"
            )
            for level in LEVELS_DB
        ]
    found += [
        Condition(name=f"speed{factor}", kind="speed", level=factor, what=f"played {factor} times as fast")
        for factor in (0.9, 1.1, 1.2)
    ]
    found += [
        Condition(name="phone", kind="phone", what="300 to 3400 Hz, eight bits, as over a telephone"),
        Condition(name="clipping", kind="clipping", what="a tenth of the speech's samples beyond full scale"),
    ]
    return {condition.name: condition for condition in found}


def conditions_named(names: Sequence[str]) -> tuple[Condition, ...]:
    """The conditions of ``names``; ``all`` stands for all but the real ones. Raises ``InputError``."""
    known = known_conditions()
    wanted: list[str] = []
    for name in (part.strip() for part in names):
        wanted += [n for n, c in known.items() if not c.kind.startswith("real")] if name == "all" else [name]
    unknown = [name for name in wanted if name not in known]
    if unknown or not wanted:
        raise InputError(
            f"There is no condition {unknown[0]!r}." if unknown else "No condition was named.",
            hint=f"There are: {', '.join(known)}; and all.",
        )
    return tuple(known[name] for name in dict.fromkeys(wanted))


def apply_condition(
    condition: Condition,
    samples: Samples,
    *,
    seed: int,
    other: Samples | None = None,
    real: RealNoise | None = None,
) -> Samples:
    """``samples`` (16 kHz mono, -1..1) in ``condition``; the same ``seed`` gives the same result.

    ``other`` is somebody else's speech, needed by ``radio…``; ``real`` the recordings that ``real…`` needs.
    Raises ``InputError`` where those are missing, ``ValueError`` for samples without any sound.
    """
    rng = np.random.default_rng([seed, *condition.name.encode()])
    wave = samples.astype(np.float64)
    if condition.kind == "clean":
        return samples
    if condition.kind == "speed":
        return _single(_resampled(wave, 1 / condition.level))
    if condition.kind == "phone":
        return _single(_telephone(wave))
    if condition.kind == "clipping":
        limit = float(np.quantile(np.abs(_spoken(wave)), 1 - CLIPPED_SHARE))
        return _single(np.clip(wave / limit, -1.0, 1.0) * PEAK)
    noise = _noise(condition.kind, wave.size, rng, other=other, real=real)
    if condition.kind == "bay":
        wave = _in_room(wave, _bay(rng))
    elif condition.kind == "realbay":
        rooms = real.rooms if real is not None else ()
        if not rooms:
            raise InputError("There are no room responses to measure with.", hint=_HINT)
        wave = _in_room(wave, rooms[int(rng.integers(len(rooms)))].astype(np.float64))
    return _single(_mixed(wave, noise, condition.level))


def load_real_noise(folder: Path) -> RealNoise:
    """The recordings of ``folder``: ``RIR…`` files are rooms, the others noise. Raises ``InputError``."""
    paths = sorted(path for path in folder.glob("*") if path.suffix in (".flac", ".wav", ".opus"))
    if not paths:
        raise InputError(f"There are no recordings of noise in {folder}.", hint="It reads flac, wav, opus.")
    sounds = [(path.name.startswith("RIR"), read_sound(path).floats()) for path in paths]
    return RealNoise(
        noises=tuple(sound for room, sound in sounds if not room),
        rooms=tuple(sound for room, sound in sounds if room),
    )


# -- mixing


def _single(wave: Wave) -> Samples:
    peak = float(np.abs(wave).max(initial=0.0))
    return (wave * min(1.0, PEAK / peak) if peak else wave).astype(np.float32)


def _spoken(wave: Wave) -> Wave:
    """The frames in which someone speaks: those within 35 dB of the loudest."""
    frame = round(FRAME_S * RATE)
    frames = wave[: wave.size // frame * frame].reshape(-1, frame)
    power = np.mean(frames**2, axis=1)
    if not frames.size or not power.max():
        raise ValueError("samples without any sound")
    return cast(Wave, frames[power > power.max() * QUIET].reshape(-1))


def _mixed(wave: Wave, noise: Wave, level_db: float) -> Wave:
    """Speech with noise: its power while someone speaks over the mean power of the noise is ``level_db``."""
    wanted = np.mean(_spoken(wave) ** 2) / 10 ** (level_db / 10)
    return cast(Wave, wave + noise * np.sqrt(wanted / np.mean(noise**2)))


def _in_room(wave: Wave, response: Wave) -> Wave:
    """``wave`` as it sounds in the room, as long and as loud as before, not later."""
    direct = int(np.argmax(np.abs(response)))
    size = 1 << int(wave.size + response.size - 1).bit_length()
    heard = np.fft.irfft(np.fft.rfft(wave, size) * np.fft.rfft(response, size), size)
    heard = heard[direct : direct + wave.size]
    return cast(Wave, heard * np.sqrt(np.mean(wave**2) / np.mean(heard**2)))


def _resampled(wave: Wave, factor: float) -> Wave:
    """``factor`` times as long; the pitch moves with the speed."""
    count = round(wave.size * factor)
    spectrum = np.fft.rfft(wave)
    return np.fft.irfft(spectrum[: count // 2 + 1], count) * (count / wave.size)


def _band(wave: Wave, low: float, high: float) -> Wave:
    spectrum = np.fft.rfft(wave)
    hertz = np.fft.rfftfreq(wave.size, 1 / RATE)
    soft = 1 / (1 + np.exp(-(hertz - low) / 20)) / (1 + np.exp((hertz - high) / 40))
    return np.fft.irfft(spectrum * soft, wave.size)


def _telephone(wave: Wave) -> Wave:
    narrow = _band(wave, *TELEPHONE_HZ)
    scaled = np.clip(narrow / np.abs(narrow).max(), -1, 1)
    law = np.sign(scaled) * np.log1p(255 * np.abs(scaled)) / np.log(256)  # mu-law, 255 steps
    coarse = np.round(law * 127) / 127
    return cast(Wave, np.sign(coarse) * (256 ** np.abs(coarse) - 1) / 255 * np.abs(narrow).max())


# -- noise, each of mean power one


def _noise(
    kind: str, count: int, rng: np.random.Generator, *, other: Samples | None, real: RealNoise | None
) -> Wave:
    if kind == "radio":
        if other is None:
            raise InputError("Radio speech needs a second recording in the folder.")
        return _even(_radio(other.astype(np.float64), count, rng))
    if kind in ("real", "realbay"):
        if real is None or not real.noises:
            raise InputError("There are no recordings of noise to measure with.", hint=_HINT)
        return _even(_one_after_another(real.noises, count, rng))
    return _even(_SOURCES[kind](count, rng))


def _even(noise: Wave) -> Wave:
    return cast(Wave, noise / np.sqrt(np.mean(noise**2)))


def _moments(count: int, rng: np.random.Generator, shortest: float, longest: float) -> list[int]:
    moments = []
    at = float(rng.uniform(0.3, longest))
    while at * RATE < count:
        moments.append(round(at * RATE))
        at += float(rng.uniform(shortest, longest))
    return moments


def _add(total: Wave, piece: Wave, at: int) -> None:
    room = max(0, min(piece.size, total.size - at))
    total[at : at + room] += piece[:room]


def _hiss(count: int, rng: np.random.Generator) -> Wave:
    spectrum = np.fft.rfft(rng.standard_normal(count))
    hertz = np.fft.rfftfreq(count, 1 / RATE)
    return _even(np.fft.irfft(spectrum / np.sqrt(np.maximum(hertz, 60) / 60), count))


def _compressor(count: int, rng: np.random.Generator) -> Wave:
    """Mains hum under a piston's beat, with rattle, running in cycles of about half a minute."""
    time = np.arange(count) / RATE
    beat = 1 + 0.5 * np.sin(2 * np.pi * rng.uniform(9, 14) * time)
    hum = np.zeros(count)
    for n, level in ((1, 1.0), (2, 0.8), (3, 0.5), (4, 0.35), (6, 0.25), (9, 0.15), (14, 0.08)):
        hum += level * np.sin(2 * np.pi * 59.6 * n * time + rng.uniform(0, 6.28))
    running = np.clip(3 * np.sin(2 * np.pi * (time / rng.uniform(40, 60) + rng.uniform())) + 2, 0.15, 1)
    return cast(Wave, (hum + 0.5 * _hiss(count, rng)) * beat * running)


def _wrench(count: int, rng: np.random.Generator) -> Wave:
    """Bursts of an impact wrench over quiet air: whine that bogs down, and hammering."""
    total = 0.15 * _hiss(count, rng)
    for at in _moments(count, rng, 2.0, 6.0):
        time = np.arange(round(rng.uniform(0.6, 2.2) * RATE)) / RATE
        pitch = rng.uniform(550, 900) * (1 - 0.25 * time / time[-1])
        phase = 2 * np.pi * np.cumsum(pitch) / RATE
        whine = np.sin(phase) + 0.6 * np.sin(2 * phase) + 0.35 * np.sin(3 * phase)
        hammer = np.exp(-6 * ((time * rng.uniform(17, 26)) % 1.0))
        shape = np.minimum(1, np.minimum(time, time[-1] - time) / 0.05)
        burst = 0.5 * whine + 0.9 * hammer * np.diff(rng.standard_normal(time.size + 1))
        _add(total, shape * burst * rng.uniform(0.7, 1.3), at)
    return total


def _clanks(count: int, rng: np.random.Generator) -> Wave:
    total = np.zeros(count)
    for at in _moments(count, rng, 1.5, 6.0):
        time = np.arange(round(0.9 * RATE)) / RATE
        ring = np.zeros(time.size)
        for _ in range(int(rng.integers(5, 9))):
            tone = np.sin(2 * np.pi * rng.uniform(700, 6500) * time + rng.uniform(0, 6.28))
            ring += rng.uniform(0.3, 1.0) * tone * np.exp(-time / rng.uniform(0.03, 0.25))
        _add(total, ring, at)
    return total


def _shop(count: int, rng: np.random.Generator) -> Wave:
    """All of it together, as far as it can be heard in one bay."""
    total = _even(_compressor(count, rng)) + 0.5 * _even(_wrench(count, rng)) + 0.3 * _hiss(count, rng)
    return total + 0.5 * _even(_clanks(count, rng) + 1e-3 * _hiss(count, rng))


def _bay(rng: np.random.Generator) -> Wave:
    """A made-up room response: the direct sound, some early reflections, a tail that falls exponentially."""
    time = np.arange(round(ROOM_S * RATE)) / RATE
    response = 0.05 * rng.standard_normal(time.size) * 10 ** (-3 * time / ROOM_S)
    for delay in rng.uniform(0.004, 0.04, size=8):
        response[round(delay * RATE)] += rng.choice((-1, 1)) * rng.uniform(0.15, 0.5)
    response[0] = 1.0
    return response


def _bay_noise(count: int, rng: np.random.Generator) -> Wave:
    return _in_room(_shop(count, rng), _bay(rng))


def _radio(speech: Wave, count: int, rng: np.random.Generator) -> Wave:
    """Somebody else's words through a small loudspeaker across the room."""
    start = int(rng.integers(speech.size))
    looped = np.resize(np.roll(speech, -start), count)
    return _in_room(_band(looped, 250, 5000), _bay(rng)) + 0.003 * _hiss(count, rng)


def _one_after_another(noises: Sequence[Samples], count: int, rng: np.random.Generator) -> Wave:
    """The recordings in a random order, all equally loud, short ones several times."""
    pieces: list[Wave] = []
    have = 0
    while have < count:
        for at in rng.permutation(len(noises)):
            noise = noises[at].astype(np.float64)
            start = int(rng.integers(max(1, noise.size - 10 * RATE)))
            piece = noise[start : start + 10 * RATE]
            if np.any(piece):
                pieces.append(np.tile(_even(piece), max(1, 3 * RATE // piece.size)))
                have += pieces[-1].size
        if not pieces:
            raise InputError("The recordings of noise are silent.")
    return np.concatenate(pieces)[:count]


_SOURCES: Mapping[str, Source] = {
    "noise": _shop,
    "compressor": _compressor,
    "wrench": _wrench,
    "bay": _bay_noise,
}
_NOISE_NAMES: Mapping[str, str] = {
    "noise": "made-up shop noise of all kinds",
    "compressor": "a compressor",
    "wrench": "an impact wrench in bursts",
    "radio": "somebody else's speech from a radio",
    "bay": "a reverberant bay with its noise",
    "real": "recordings of real tools, engines and rooms",
    "realbay": "a real room's response with real noise",
}


def is_clean(voice: str) -> bool:
    """Whether a recording's tag (``rms``, ``rms-noise10``) is that of a recording without noise."""
    return "-" not in voice
