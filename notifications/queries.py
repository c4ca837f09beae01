"""Reads of the notifications room (documents)."""

from datetime import date

from scheduling.models import Cover
from treatments.models import Vehicle


def read_certificate_pdf(cover: Cover, *, as_of: date) -> bytes:
    return b""


def read_job_sheet_pdf(vehicle: Vehicle, *, as_of: date) -> bytes:
    return b""
