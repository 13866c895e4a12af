"""Conditions laid over recordings: the ratio stated, the same each time, and what is missing is said."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from voicecheck.measure.ear_conditions import (
    CLIPPED_SHARE,
    RealNoise,
    Samples,
    apply_condition,
    conditions_named,
    is_clean,
    known_conditions,
    load_real_noise,
)
from voicecheck.recording import RATE
from voicecheck.records import InputError

KNOWN = known_conditions()
MADE_UP = [c for c in KNOWN.values() if not c.kind.startswith("real")]


def speech(seconds: float = 6.0, seed: int = 1) -> Samples:
    """Bursts of a tone with overtones, as loud as speech, with silence between them."""
    time = np.arange(round(seconds * RATE)) / RATE
    rng = np.random.default_rng(seed)
    tone = sum(np.sin(2 * np.pi * 180 * n * time) / n for n in range(1, 30))
    on = np.sin(2 * np.pi * 0.5 * time) > 0
    return (0.05 * tone * on + 1e-5 * rng.standard_normal(time.size)).astype(np.float32)


def power_db(wave: np.ndarray) -> float:
    return float(10 * np.log10(np.mean(np.square(wave, dtype=np.float64))))


@pytest.mark.parametrize("name", [c.name for c in MADE_UP])
def test_the_same_seed_gives_the_same_sound_within_full_scale(name: str) -> None:
    clean, other = speech(), speech(seed=2)
    one = apply_condition(KNOWN[name], clean, seed=5, other=other)
    assert np.array_equal(one, apply_condition(KNOWN[name], clean, seed=5, other=other))
    assert one.dtype == np.float32
    assert np.abs(one).max() <= 1.0
    assert (name == "clean") == (one.shape == clean.shape and np.array_equal(one, clean))


@pytest.mark.parametrize("kind", ["noise", "compressor", "wrench", "radio"])
@pytest.mark.parametrize("level", [20, 10, 5])
def test_noise_stands_under_the_speech_by_what_is_stated(kind: str, level: int) -> None:
    clean = speech()
    mixed = apply_condition(KNOWN[f"{kind}{level}"], clean, seed=3, other=speech(seed=9)).astype(np.float64)
    gain = np.dot(mixed, clean) / np.dot(clean, clean)  # the mix may be turned down as a whole
    spoken = clean[np.abs(clean) > 0.001]
    noise = mixed - gain * clean
    assert power_db(gain * spoken) - power_db(noise) == pytest.approx(level, abs=1.5)


def test_other_seeds_give_other_noise_and_kinds_differ() -> None:
    clean = speech()
    sounds = [apply_condition(KNOWN["noise10"], clean, seed=seed) for seed in (1, 2)]
    sounds += [apply_condition(KNOWN[name], clean, seed=1) for name in ("compressor10", "wrench10", "bay10")]
    for at, one in enumerate(sounds):
        assert not any(np.allclose(one, other) for other in sounds[at + 1 :])


@pytest.mark.parametrize("factor", [0.9, 1.1, 1.2])
def test_speed_shortens_and_raises_the_pitch(factor: float) -> None:
    time = np.arange(4 * RATE) / RATE
    tone = (0.3 * np.sin(2 * np.pi * 440 * time)).astype(np.float32)
    fast = apply_condition(KNOWN[f"speed{factor}"], tone, seed=1)
    assert len(fast) == round(len(tone) / factor)
    loudest = np.argmax(np.abs(np.fft.rfft(fast))) * RATE / len(fast)
    assert loudest == pytest.approx(440 * factor, rel=0.01)
    assert power_db(fast) == pytest.approx(power_db(tone), abs=0.2)


def test_telephone_takes_what_is_below_and_above() -> None:
    noise = (0.1 * np.random.default_rng(1).standard_normal(8 * RATE)).astype(np.float32)
    spectrum = np.abs(np.fft.rfft(apply_condition(KNOWN["phone"], noise, seed=1))) ** 2
    hertz = np.fft.rfftfreq(noise.size, 1 / RATE)
    inside = spectrum[(hertz > 400) & (hertz < 3300)].mean()
    assert spectrum[hertz < 150].mean() < inside / 100
    assert spectrum[hertz > 4000].mean() < inside / 100


def test_clipping_flattens_the_stated_share_of_the_speech() -> None:
    sound = (0.1 * np.random.default_rng(1).standard_normal(4 * RATE)).astype(np.float32)
    clipped = apply_condition(KNOWN["clipping"], sound, seed=1)
    flat = np.isclose(np.abs(clipped), np.abs(clipped).max()).mean()
    assert flat == pytest.approx(CLIPPED_SHARE, abs=0.01)


def test_the_bay_goes_on_sounding_after_the_speech() -> None:
    quiet = np.zeros(3 * RATE, np.float32)
    quiet[RATE : RATE + 400] = 0.5
    room = np.zeros(RATE, np.float32)
    room[100], room[4100] = 1.0, 0.5
    silent = RealNoise(noises=((1e-9 * np.ones(RATE)).astype(np.float32),), rooms=(room,))
    heard = apply_condition(KNOWN["realbay20"], quiet, seed=1, real=silent)
    assert np.abs(heard[RATE + 4000 : RATE + 4400]).max() > 0.4 * np.abs(heard).max()
    assert np.argmax(np.abs(heard)) >= RATE  # the direct sound does not come later or earlier
    assert np.argmax(np.abs(heard)) < RATE + 400


def test_what_is_missing_is_said() -> None:
    with pytest.raises(InputError, match="second recording"):
        apply_condition(KNOWN["radio10"], speech(), seed=1)
    with pytest.raises(InputError, match="no recordings of noise"):
        apply_condition(KNOWN["real10"], speech(), seed=1)
    noises = (speech(1.0),)
    with pytest.raises(InputError, match="room responses"):
        apply_condition(KNOWN["realbay10"], speech(), seed=1, real=RealNoise(noises=noises))
    with pytest.raises(ValueError, match="without any sound"):
        apply_condition(KNOWN["noise10"], np.zeros(RATE, np.float32), seed=1)


def test_names_are_looked_up_and_unknown_ones_refused() -> None:
    assert [c.name for c in conditions_named(["noise10", " clean", "noise10"])] == ["noise10", "clean"]
    assert conditions_named(["all"]) == tuple(MADE_UP)
    for names in (["loud"], [], ["clean", ""]):
        with pytest.raises(InputError):
            conditions_named(names)


def test_real_noise_is_read_from_a_folder(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no recordings of noise"):
        load_real_noise(tmp_path)


def test_a_hyphen_marks_a_recording_that_has_noise_already() -> None:
    assert is_clean("rms")
    assert not is_clean("rms-noise10")
