"""Advice on a VIN with what is on record; the forms and services that take a VIN ask here."""

from collections.abc import Collection, Sequence

from treatments.models import Vehicle
from treatments.vehicles.rules.vin import VinMark
from treatments.vehicles.rules.vin_advice import VinAdvice, advise_on_vin


def read_vin_advice(text: str, marked_as: VinMark = VinMark.STANDARD) -> VinAdvice:
    """Return what is to be told about a number, with the corrections that are vehicles on record."""
    return advise_on_vin(text, marked_as=marked_as, find_on_record=find_vins_on_record)


def find_vins_on_record(vins: Sequence[str]) -> Collection[str]:
    """Return those of some VINs that are vehicles on record."""
    return set(Vehicle.objects.filter(vin__in=vins).values_list("vin", flat=True))
