"""Takes in a photo from outside: what it is by its content, not its name, made small, and without where it was taken.

The picture is drawn anew, so that nothing but its pixels is kept.
"""

import hashlib
import io
from dataclasses import dataclass
from typing import IO

from PIL import Image, ImageOps, UnidentifiedImageError

MOST_BYTES = 15 * 1024 * 1024
MOST_PIXELS = 60_000_000
LONGEST_EDGE = 2400
FORMATS = ("JPEG", "PNG", "WEBP")


class PhotoError(ValueError):
    """A file that can't be kept as a photo; the message says why and what to do."""


@dataclass(frozen=True, slots=True)
class CleanPhoto:
    """A JPEG drawn anew, and the SHA-256 of the file as it came, by which a second copy is known."""

    content: bytes
    sha256: str


def clean_photo(upload: IO[bytes], name: str) -> CleanPhoto:
    """Return the photo turned upright, at most LONGEST_EDGE pixels long, as a JPEG without any metadata.

    Raises:
        PhotoError: naming the file, where it is too large or no picture of a known kind.
    """
    content = upload.read(MOST_BYTES + 1)
    if len(content) > MOST_BYTES:
        raise PhotoError(f"{name}: more than {MOST_BYTES // 1024 // 1024} MB; send a smaller picture.")
    try:
        with Image.open(io.BytesIO(content), formats=FORMATS) as picture:
            picture.verify()  # reads to the end, where a file that was cut off ends too early
        with Image.open(io.BytesIO(content), formats=FORMATS) as picture:
            if picture.width * picture.height > MOST_PIXELS:
                raise PhotoError(f"{name}: {picture.width} x {picture.height} pixels are too many; send a smaller one.")
            upright = ImageOps.exif_transpose(picture).convert("RGB")
    except (UnidentifiedImageError, OSError, SyntaxError, ValueError, Image.DecompressionBombError) as error:
        if isinstance(error, PhotoError):
            raise
        raise PhotoError(f"{name}: not a picture that can be read; send a JPEG, PNG or WebP.") from error
    upright.thumbnail((LONGEST_EDGE, LONGEST_EDGE))
    drawn = Image.new("RGB", upright.size)
    drawn.paste(upright)
    out = io.BytesIO()
    drawn.save(out, "JPEG", quality=85, optimize=True)
    return CleanPhoto(out.getvalue(), hashlib.sha256(content).hexdigest())
