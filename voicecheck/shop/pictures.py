"""Photos from phones made harmless: the right way up, not larger than needed, nothing but the picture.

The only module that sees Pillow. What a phone writes beside the picture (where it was taken, by which device,
a small copy of an earlier state) is left out, because the picture goes to the customer.
"""

from __future__ import annotations

import io
import warnings

from PIL import Image, ImageOps, UnidentifiedImageError

from voicecheck.records import InputError

MOST_BYTES = 30 * 1024**2  # of a file: the largest that phones write have about 20 MB
MOST_PIXELS = 120_000_000  # of the picture in it, before anything is decoded: a bomb stays small on the wire
LONGEST_SIDE = 2048  # pixels kept: a tyre's date code stays readable from arm's length
QUALITY = 85
KIND = "image/jpeg"
_FORMATS = ("JPEG", "PNG", "WEBP", "GIF")


def clean_photo(content: bytes, *, most_bytes: int = MOST_BYTES) -> bytes:
    """The picture in ``content`` as a JPEG without metadata, at most ``LONGEST_SIDE`` pixels long, upright.

    Raises ``InputError`` with one sentence when it is no picture, damaged or too large.
    """
    if len(content) > most_bytes:
        raise InputError(
            f"The picture has {len(content) / 1e6:.1f} MB; at most {most_bytes / 1e6:.1f} MB are taken.",
            hint="Take it again with a lower resolution.",
        )
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)  # the limit here is our own
            with Image.open(io.BytesIO(content), formats=_FORMATS) as image:
                if image.width * image.height > MOST_PIXELS:
                    raise _too_many(f"{image.width} × {image.height} pixels")
                image.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))  # decodes large JPEGs at half size and less
                upright = ImageOps.exif_transpose(image)
                upright.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
                return _jpeg(upright)
    except UnidentifiedImageError as error:
        raise InputError(
            "This is not a picture that can be read.",
            hint="Take a photo as JPEG or PNG, or a screenshot of it.",
        ) from error
    except Image.DecompressionBombError as error:
        raise _too_many("far more pixels than a phone's") from error
    except (OSError, SyntaxError, ValueError, EOFError) as error:
        raise InputError("The picture is damaged.", hint="Take it again.") from error


def _too_many(pixels: str) -> InputError:
    return InputError(
        f"The picture has {pixels}, which is too many.", hint="Take it again with a lower resolution."
    )


def _jpeg(image: Image.Image) -> bytes:
    if image.mode in ("RGBA", "LA", "PA") or "transparency" in image.info:
        ground = Image.new("RGB", image.size, "white")
        ground.paste(image.convert("RGBA"), mask=image.convert("RGBA").getchannel("A"))
        image = ground
    plain = Image.new("RGB", image.size)
    plain.paste(image.convert("RGB"))  # a new image has no metadata to be written by accident
    made = io.BytesIO()
    plain.save(made, "JPEG", quality=QUALITY, optimize=True)
    return made.getvalue()
