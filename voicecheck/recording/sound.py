"""The sound of one recording as plain samples; knows nothing of files or codecs."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

RATE = 16_000  # samples per second; what the recogniser and the speech detector take
FULL_SCALE = 32_768.0


@dataclass(frozen=True, slots=True)
class Sound:
    """One recording: 16 kHz, one channel.

    ``samples`` are 16-bit and read-only, because three hours of 32-bit floats would take 691 MB; ask
    ``floats`` for the stretch at hand. ``stated_seconds`` is the length that the file claims (``None``: it
    claims none), ``note`` one or two sentences about what is wrong with the file (empty: nothing).
    """

    name: str
    samples: NDArray[np.int16] = field(repr=False)
    sha256: str  # of the file as it came; of the samples where there was no file
    stated_seconds: float | None = None
    note: str = ""

    @property
    def seconds(self) -> float:
        """The length of what was decoded."""
        return len(self.samples) / RATE

    def floats(self, start: float = 0.0, end: float | None = None) -> NDArray[np.float32]:
        """The samples from second ``start`` to second ``end`` as float32 in -1..1; clipped to the
        recording."""
        first = max(0, round(start * RATE))
        last = len(self.samples) if end is None else max(first, round(end * RATE))
        return self.samples[first:last].astype(np.float32) / np.float32(FULL_SCALE)


def sound_from_samples(
    samples: NDArray[np.float32] | NDArray[np.float64] | NDArray[np.int16],
    *,
    name: str = "samples",
    rate: int = RATE,
    stated_seconds: float | None = None,
    note: str = "",
) -> Sound:
    """A ``Sound`` without a file: the double for tests, and the way in for a program that has samples
    already.

    ``samples`` is one channel, floats in -1..1 or int16, at 16 kHz. Raises ``ValueError`` for anything else.
    """
    if rate != RATE:
        raise ValueError(f"samples at {rate} Hz: only {RATE} Hz is taken")
    if samples.ndim != 1:
        raise ValueError(f"samples of shape {samples.shape}: only one channel is taken")
    if samples.dtype == np.int16:
        whole = samples.astype(np.int16, copy=True)
    elif np.issubdtype(samples.dtype, np.floating):
        if not np.isfinite(samples).all():
            raise ValueError("samples that are not finite numbers")
        whole = np.clip(np.rint(samples * FULL_SCALE), -32_768, 32_767).astype(np.int16)
    else:
        raise ValueError(f"samples of type {samples.dtype}: only floats and int16 are taken")
    whole.setflags(write=False)
    return Sound(
        name=name,
        samples=whole,
        sha256=hashlib.sha256(whole.tobytes()).hexdigest(),
        stated_seconds=stated_seconds,
        note=note,
    )
