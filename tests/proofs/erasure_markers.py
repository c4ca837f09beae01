"""Markers of the proof of erasure: what is typed, where it was typed, and what every door needs."""

import html
import io
import re
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from typing import Any

SIGN = "zq"


@dataclass
class Markers:
    """The markers and where each was typed."""

    typed_at: dict[str, str] = field(default_factory=dict)

    def make(self, door: str) -> str:
        """Return a new marker for a door: one word, so that it may be taken for a code."""
        marker = f"{SIGN}{len(self.typed_at) + 1:03d}x"
        self.typed_at[marker] = door
        return marker


def make_picture(words: str) -> io.BytesIO:
    """Return a JPEG into which a camera and a person wrote words: EXIF, a comment, and a text in PNG's manner."""
    from PIL import Image

    picture = Image.new("RGB", (64, 48), (120, 90, 60))
    exif = Image.Exif()
    exif[0x010E] = words  # ImageDescription
    exif[0x013B] = words  # Artist
    out = io.BytesIO()
    picture.save(out, "JPEG", exif=exif, comment=words.encode())
    assert words.encode() in out.getvalue()
    out.seek(0)
    return out


def send_form(client: Any, page: str, typed: dict[str, str], address: str = "") -> Any:
    """Open a page and send its form with what is typed and what the page put into it."""
    hidden = re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', client.get(page).content.decode())
    return client.post(address or page, {name: html.unescape(value) for name, value in hidden} | typed)


@dataclass
class Shop:
    """The shop and the customer that the doors are about.

    Attributes:
        folder: VAR_DIR.
        day: the demo's today.
        now: this moment.
    """

    folder: Path
    day: date
    now: datetime
    markers: Markers = field(default_factory=Markers)

    def __post_init__(self) -> None:
        from treatments.models import Site, User

        self.site = Site.objects.get(code="quay-street")
        self.owner = User.objects.get(username="owner")
        self.mark = self.markers.make
