"""The paper and units that a place is used to, and which colour and logo a shop's documents may have.

Paper by country is that of Unicode CLDR (supplemental data, paper sizes), °F and US liquid measure its "US" systems.
"""

import re

from treatments.enums import PaperSize
from treatments.rules.explanation import Explanation, OwnWords, explain

LETTER_COUNTRIES = frozenset(["BZ", "CA", "CL", "CO", "CR", "GT", "MX", "NI", "PA", "PH", "PR", "SV", "US", "VE"])
US_UNITS_COUNTRIES = frozenset({"US", "PR"})
# WCAG 2.2, 1.4.3: what text of usual size must differ from its ground; white letters stand on the shop's colour.
LEAST_CONTRAST = 4.5
MOST_LOGO_BYTES, MOST_LOGO_PIXELS, LOGO_FORMATS = 500_000, 2400, ("PNG", "JPEG")


def find_paper(country: str) -> PaperSize:
    """Return the paper that offices of a country (ISO 3166-1) use."""
    return PaperSize.LETTER if country in LETTER_COUNTRIES else PaperSize.A4


def uses_us_units(country: str) -> bool:
    """Return whether a country measures in quarts, miles and degrees Fahrenheit."""
    return country in US_UNITS_COUNTRIES


def compute_contrast_with_white(colour: str) -> float:
    """Return the contrast of white letters on a colour such as #1d6b5f, 1 to 21, by WCAG 2.2."""
    shares = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4 for share in shares]
    luminance = 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
    return 1.05 / (luminance + 0.05)


def find_colour_fault(colour: str) -> Explanation | None:
    """Return what is wrong with a colour, None where there is nothing; blank is the usual one."""
    if not colour:
        return None
    if not re.fullmatch("#[0-9a-f]{6}", colour):
        return explain("site.colour", colour=OwnWords(colour))
    if compute_contrast_with_white(colour) < LEAST_CONTRAST:
        return explain("site.colour.pale", colour=OwnWords(colour))
    return None


def find_logo_fault(file_format: str, number_of_bytes: int, width: int, height: int) -> Explanation | None:
    """Return what is wrong with a logo, None where there is nothing.

    Args:
        file_format: as Pillow names it.
        width, height: in pixels.
    """
    if file_format not in LOGO_FORMATS:
        return explain("site.logo.format")
    if number_of_bytes > MOST_LOGO_BYTES:
        return explain("site.logo.bytes", kilobytes=number_of_bytes // 1000, most=MOST_LOGO_BYTES // 1000)
    if max(width, height) > MOST_LOGO_PIXELS:
        return explain("site.logo.pixels", width=width, height=height, most=MOST_LOGO_PIXELS)
    return None
