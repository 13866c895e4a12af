"""A picture out of a video at a given second, the right way up. Sees PyAV, as ``media`` does."""

from __future__ import annotations

import io
from pathlib import Path

import av

from voicecheck.recording.media import OPTIONS
from voicecheck.records import NotMediaError, RecordingError

WIDEST = 1280  # pixels of the longer side
QUALITY = 80  # of JPEG, of 100


class NoPictureError(RecordingError):
    """A recording without a picture track, or none at that second."""


def still_at(path: Path, seconds: float) -> bytes:
    """The frame shown at ``seconds`` as JPEG, at most 1280 pixels wide or high.

    Raises ``NotMediaError`` for a file that cannot be read, ``NoPictureError`` where it has no picture.
    """
    try:
        with av.open(
            "file:" + str(path.absolute()), mode="r", options=dict(OPTIONS), metadata_errors="replace"
        ) as container:
            stream = container.streams.best("video")
            if not isinstance(stream, av.VideoStream):
                raise NoPictureError(f"{path.name} has no picture.")
            wanted = max(0.0, seconds)
            if stream.time_base is not None:
                container.seek(int(wanted / stream.time_base), stream=stream)
            last: av.VideoFrame | None = None
            for frame in container.decode(stream):
                last = frame
                if frame.time is None or frame.time >= wanted:
                    break
            if last is None:
                raise NoPictureError(f"{path.name} has no picture at second {seconds:.0f}.")
            image = last.to_image()  # type: ignore[no-untyped-call]
            if last.rotation:
                image = image.rotate(last.rotation, expand=True)
    except av.error.FFmpegError as error:
        raise NotMediaError(f"{path.name} cannot be read as a video.") from error
    image.thumbnail((WIDEST, WIDEST))
    made = io.BytesIO()
    image.convert("RGB").save(made, format="JPEG", quality=QUALITY)
    return made.getvalue()
