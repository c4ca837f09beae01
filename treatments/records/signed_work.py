"""Reads one treatment or inspection with what it names, and the lines of a treatment."""

from treatments.models import Inspection, Treatment, TreatmentLine


def find_treatment(key: int) -> Treatment | None:
    """Return a treatment with its vehicle, site, reading and people, or None where there is none."""
    named = ("vehicle", "site", "reading", "applicator", "signed_off_by", "amended_by")
    return Treatment.objects.select_related(*named).filter(pk=key).first()


def find_inspection(key: int) -> Inspection | None:
    """Return an inspection with its vehicle, site, reading and inspector, or None where there is none."""
    return Inspection.objects.select_related("vehicle", "site", "reading", "inspector").filter(pk=key).first()


def list_lines(treatment: Treatment) -> list[TreatmentLine]:
    """Return what went on each zone, with zone, product and lot, in the order in which it was written down."""
    return list(treatment.lines.select_related("zone", "product", "lot").order_by("pk"))
