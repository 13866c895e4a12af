"""Media files made on the spot with PyAV: a tone that rises in its middle, or any samples given."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import av
import numpy as np

# file ending -> (container, codec, sample rate, sample format)
KINDS = {
    "wav": ("wav", "pcm_s16le", 44_100, "s16"),
    "mp3": ("mp3", "libmp3lame", 44_100, "s16p"),
    "m4a": ("ipod", "aac", 48_000, "fltp"),
    "aac": ("adts", "aac", 44_100, "fltp"),
    "ogg": ("ogg", "libopus", 48_000, "flt"),
    "opus": ("ogg", "libopus", 48_000, "flt"),
    "webm": ("webm", "libopus", 48_000, "flt"),
    "mp4": ("mp4", "aac", 44_100, "fltp"),
    "mov": ("mov", "aac", 48_000, "fltp"),
    "flac": ("flac", "flac", 16_000, "s16"),
}


def tone(seconds: float, rate: int) -> np.ndarray:
    """Float64 in -0.5..0.5: 440 Hz, then 880 Hz from the middle on."""
    time = np.arange(round(seconds * rate)) / rate
    return 0.5 * np.where(time < seconds / 2, np.sin(2 * np.pi * 440 * time), np.sin(2 * np.pi * 880 * time))


def write_media(
    path: Path,
    *,
    seconds: float = 4.0,
    kind: str | None = None,
    channels: int = 1,
    picture: bool = False,
    sound: bool = True,
    options: dict[str, str] | None = None,
    sound_from: float = 0.0,
    samples: Callable[[float, int], np.ndarray] = tone,
) -> Path:
    """Writes a tone to ``path``, or ``samples`` (called with seconds and rate, gives floats in -1..1).

    ``picture`` adds a small video track, ``sound_from`` delays the sound track.
    """
    container_name, codec, rate, sample_format = KINDS[kind or path.suffix[1:]]
    layout = "mono" if channels == 1 else "stereo"
    with av.open(str(path), "w", format=container_name, options=options or {}) as container:
        video: av.VideoStream | None = None
        audio: av.AudioStream | None = None
        if picture:
            video = container.add_stream("libvpx" if container_name == "webm" else "mpeg4", rate=10)
            video.width, video.height, video.pix_fmt = 64, 48, "yuv420p"
        if sound:
            added = container.add_stream(codec, rate=rate, layout=layout)
            assert isinstance(added, av.AudioStream)
            audio = added
            audio.format = sample_format
        if video is not None:
            for number in range(round(seconds * 10)):
                shade = np.full((48, 64, 3), number % 255, dtype=np.uint8)
                image = av.VideoFrame.from_ndarray(shade, format="rgb24")
                image.pts, image.time_base = number, Fraction(1, 10)
                container.mux(video.encode(image))
            container.mux(video.encode(None))
        if audio is not None:
            resampler = av.AudioResampler(format=sample_format, layout=layout, rate=rate)
            wave = (samples(seconds, rate) * 32_767).astype(np.int16)
            size = 1024
            for first in range(0, len(wave), size):
                part = wave[first : first + size]
                both = np.repeat(part[None, :], channels, axis=0).T.reshape(1, -1)
                frame = av.AudioFrame.from_ndarray(np.ascontiguousarray(both), format="s16", layout=layout)
                frame.sample_rate = rate
                frame.pts = first + round(sound_from * rate)
                frame.time_base = Fraction(1, rate)
                for ready in resampler.resample(frame):
                    container.mux(audio.encode(ready))
            for ready in resampler.resample(None):
                container.mux(audio.encode(ready))
            container.mux(audio.encode(None))
    return path
