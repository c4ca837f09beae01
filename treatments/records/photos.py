"""Takes in a photo from outside: what it is by its content, not its name, made small, and without where it was taken.

The picture is drawn anew, so that nothing but its pixels is kept.
"""

import hashlib
import io
from dataclasses import dataclass
from typing import IO

from django.utils.translation import gettext as _
from PIL import Image, ImageOps, UnidentifiedImageError
from PIL.JpegImagePlugin import JpegImageFile

MOST_BYTES = 15 * 1024 * 1024
MOST_PIXELS = 60_000_000
# What decoding alone may take. A process that serves pages stays under 300 MB with it, which a test measures.
MOST_DECODING_BYTES = 120_000_000
LONGEST_EDGE = 2400
FORMATS = ("JPEG", "PNG", "WEBP")
# Pillow keeps a pixel of any colour picture in four bytes; a palette is spread out once, and the decoder of WebP holds
# the picture four times before Pillow has it.
BYTES_OF_A_PIXEL = {"JPEG": 4, "PNG": 5, "WEBP": 16}
BYTES_OF_A_COEFFICIENT = 2


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
        raise PhotoError(
            _("%(name)s: more than %(most)s MB; send a smaller picture.")
            % {"name": name, "most": MOST_BYTES // 1024 // 1024}
        )
    try:
        with Image.open(io.BytesIO(content), formats=FORMATS) as picture:
            picture.verify()  # reads to the end, where a file that was cut off ends too early
        with Image.open(io.BytesIO(content), formats=FORMATS) as picture:
            drawn = _draw_small(picture, content, name)
    except Image.DecompressionBombError as error:
        most = MOST_PIXELS // 1_000_000
        raise PhotoError(
            _("%(name)s: far more than %(most)s megapixels; send a smaller one.") % {"name": name, "most": most}
        ) from error
    except (UnidentifiedImageError, OSError, SyntaxError, ValueError) as error:
        if isinstance(error, PhotoError):
            raise
        raise PhotoError(
            _("%(name)s: not a picture that can be read; send a JPEG, PNG or WebP.") % {"name": name}
        ) from error
    out = io.BytesIO()
    drawn.save(out, "JPEG", quality=85, optimize=True)
    return CleanPhoto(out.getvalue(), hashlib.sha256(content).hexdigest())


def _draw_small(picture: Image.Image, content: bytes, name: str) -> Image.Image:
    """Return the picture upright and small. A JPEG is decoded at a half, a quarter or an eighth where that suffices."""
    width, height = picture.size
    if width * height > MOST_PIXELS:
        raise PhotoError(
            _("%(name)s: %(width)s x %(height)s pixels are too many; send a smaller one.")
            % {"name": name, "width": width, "height": height}
        )
    if isinstance(picture, JpegImageFile):
        share = LONGEST_EDGE / max(width, height)
        picture.draft(None, (max(1, int(width * share)), max(1, int(height * share))))
        taken = _count_coefficient_bytes(picture, width * height, content)
    else:
        taken = 0
    taken += picture.width * picture.height * BYTES_OF_A_PIXEL[picture.format or "WEBP"]
    if taken > MOST_DECODING_BYTES:
        most = width * height * MOST_DECODING_BYTES // taken // 1_000_000
        raise PhotoError(
            _(
                "%(name)s: %(width)s x %(height)s pixels are too many for this kind of picture; send at most %(most)s "
                "megapixels, or save it as a plain JPEG."
            )
            % {"name": name, "width": width, "height": height, "most": most}
        )
    # Made small first: what follows makes copies.
    small = picture if picture.mode in ("RGB", "RGBA", "L", "CMYK") else picture.convert("RGB")
    small.thumbnail((LONGEST_EDGE, LONGEST_EDGE), reducing_gap=None)
    if small is not picture:
        small.info.update(picture.info)
        orientation = picture.getexif()
        small.getexif().update(orientation)
    upright = ImageOps.exif_transpose(small).convert("RGB")
    drawn = Image.new("RGB", upright.size)
    drawn.paste(upright)
    return drawn


def _count_coefficient_bytes(picture: JpegImageFile, pixels: int, content: bytes) -> int:
    """Return what the decoder keeps of the whole picture until the last scan, whatever size is wanted of it."""
    if not picture.info.get("progressive") and _count_parts_of_first_scan(content) == picture.layers:
        return 0
    parts = [(across, down) for _key, across, down, _table in picture.layer]
    most = max(across for across, _down in parts) * max(down for _across, down in parts)
    return pixels * BYTES_OF_A_COEFFICIENT * sum(across * down for across, down in parts) // most


def _count_parts_of_first_scan(content: bytes) -> int:
    """Return how many colour parts the first scan of a JPEG (ITU-T T.81, B.2.3) holds, 0 where none is found."""
    place = 2
    while place + 4 < len(content) and content[place] == 0xFF:
        marker, length = content[place + 1], int.from_bytes(content[place + 2 : place + 4])
        if marker == 0xFF:  # a fill byte
            place += 1
        elif marker == 0xDA:
            return content[place + 4]
        else:
            place += 2 + length
    return 0
