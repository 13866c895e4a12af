"""How good the sound of a recording is for being understood, and when it should be recorded again."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from voicecheck.recording import RATE, Sound
from voicecheck.records import Record
from voicecheck.speech.timeline import Stretch

FRAME_S = 0.02
_BLOCK_S = 120.0  # looked at at a time; bounds memory
_MARGIN_S = 0.1  # around speech, neither speech nor noise
_SILENT_DB = -90.0  # below the rounding of 16-bit samples
_FULL = 0.999  # of full scale: the microphone or its amplifier was at its end
_NOISE_FRAMES = 25  # fewer frames without speech do not tell the noise; then the quietest tenth stands for it
_QUIETEST = 10  # per cent


class SoundQuality(Record):
    """``level_db`` and ``noise_db`` are those of speech and of what lies between (dB of full scale);
    ``ratio_db`` is the one over the other; ``clipped`` the share of frames of speech that reach full scale;
    ``speech`` the share of the recording in which somebody speaks.
    """

    level_db: float
    noise_db: float
    ratio_db: float
    clipped: float
    speech: float


class QualityLimits(Record):
    """From where a recording is called bad. Chosen so that speech with 10 dB of shop noise passes (common
    practice: speech under 5 to 10 dB above noise is lost to recognisers; measured here too)."""

    ratio_least_db: float = 7.0
    level_least_db: float = -50.0
    clipped_most: float = 0.15


def sound_quality(sound: Sound, speech: Sequence[Stretch]) -> SoundQuality:
    """The quality of ``sound`` in which the detector hears ``speech``."""
    levels, full = _frames(sound)
    spoken = np.zeros(len(levels), bool)
    near = np.zeros(len(levels), bool)
    for stretch in speech:
        spoken[_at(stretch.start) : _at(stretch.end)] = True
        near[max(0, _at(stretch.start - _MARGIN_S)) : _at(stretch.end + _MARGIN_S)] = True
    power = np.power(10.0, levels / 10.0)
    quiet = power[~near]
    if len(quiet) < _NOISE_FRAMES:
        order = np.sort(power)
        quiet = (
            order[: max(1, len(order) * _QUIETEST // 100)]
            if len(order)
            else np.array([10 ** (_SILENT_DB / 10)])
        )
    noise = float(np.median(quiet))
    loud = float(power[spoken].mean()) if spoken.any() else noise
    return SoundQuality(
        level_db=round(_db(loud), 1),
        noise_db=round(_db(noise), 1),
        ratio_db=round(_db(max(loud - noise, 1e-12) / noise), 1),
        clipped=round(float(full[spoken].mean()) if spoken.any() else 0.0, 4),
        speech=round(float(spoken.mean()) if len(spoken) else 0.0, 3),
    )


def record_again(quality: SoundQuality, limits: QualityLimits | None = None) -> str:
    """One sentence that says what to do better and that it is worth recording again; "" for usable sound."""
    at = limits or QualityLimits()
    if not quality.speech:
        return ""
    if quality.ratio_db < at.ratio_least_db:
        return (
            f"The voice is only {max(0.0, quality.ratio_db):.0f} dB above the noise, so words will be wrong: "
            "record again with the microphone close to the mouth, away from running tools."
        )
    if quality.clipped > at.clipped_most:
        return (
            f"The sound is overdriven in {quality.clipped:.0%} of the speech, so words will be wrong: "
            "record again with the microphone a little further away."
        )
    if quality.level_db < at.level_least_db:
        return (
            f"The voice is very quiet ({quality.level_db:.0f} dB of full scale), so words may be lost: "
            "record again with the microphone closer to the mouth."
        )
    return ""


def _frames(sound: Sound) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """The level of each frame in dB of full scale, and whether it reaches full scale."""
    size = round(FRAME_S * RATE)
    levels: list[NDArray[np.float64]] = []
    full: list[NDArray[np.bool_]] = []
    start = 0.0
    while start < sound.seconds:
        block = sound.floats(start, start + _BLOCK_S)
        block = block[: len(block) // size * size].reshape(-1, size)
        power = np.mean(np.square(block, dtype=np.float64), axis=1)
        levels.append(10.0 * np.log10(np.maximum(power, 10 ** (_SILENT_DB / 10))))
        full.append((np.abs(block) >= _FULL).max(axis=1).astype(np.bool_))
        start += _BLOCK_S
    if not levels:
        return np.zeros(0), np.zeros(0, bool)
    return np.concatenate(levels), np.concatenate(full)


def _at(seconds: float) -> int:
    return round(seconds / FRAME_S)


def _db(power: float) -> float:
    return float(10.0 * np.log10(max(power, 1e-12)))
