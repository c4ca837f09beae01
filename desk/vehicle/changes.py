"""What can be changed about the record of a vehicle and its covers: one entry for each, with its form and its service.

What it comes to before it is done is for ``desk.vehicle.foresee``.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from desk.vehicle import forms_changes as change_forms
from desk.vehicle import owner_contact, owner_messages
from desk.vehicle.foresee import VehicleRecord, render_item
from scheduling.covers.queries import is_over, read_cover_case
from scheduling.covers.rules.due import sort_due_items
from scheduling.covers.rules.due_item import DueItem
from scheduling.covers.services import (
    end_cover,
    move_terms,
    note_transfer,
    record_private_sale,
    register_cover,
    take_end_back,
    waive_due_item,
)
from scheduling.models import Cover
from scheduling.terms.queries import list_versions
from treatments.models import Customer, Ownership, Vehicle
from treatments.people.customers import find_or_add_customer
from treatments.queries import find_owner_on, list_readings
from treatments.records.odometer_readings import record_reading
from treatments.records.rules.odometer import Reading, find_doubt, find_kilometres_on
from treatments.reference.queries import list_sites, map_dealerships, map_sites
from treatments.rules.explanation import Explanation
from treatments.shared.shown import Records, check_unchanged_since
from treatments.vehicles.changes import change_place_of_use, correct_record, transfer_vehicle

if TYPE_CHECKING:
    from django_stubs_ext import StrOrPromise


Make = Callable[[VehicleRecord, Any, dict[str, Any]], forms.Form]


@dataclass(frozen=True, slots=True)
class Change:
    """One thing that can be changed.

    Attributes:
        page: whose roles may do it, a key of ``desk.shared.access.MAY_OPEN``.
        make_form: returns the form for a record, what was sent or None, and what it begins with.
        do: calls the service.
        find_obstacle: says why it can't be done now, '' where it can.
        list_doubts: says what speaks against what was typed; a person decides.
    """

    slug: str
    page: str
    title: "StrOrPromise"
    explains: "StrOrPromise"
    make_form: Make
    do: Callable[[VehicleRecord, Any], object]
    find_obstacle: Callable[[VehicleRecord], str] = lambda record: ""
    list_doubts: Callable[[VehicleRecord, Any], list[Explanation]] = lambda record, form: []


def _make_plain(form: type[forms.Form], *today: str) -> Make:
    """Return a maker of a form whose named days begin with today."""

    def make(record: VehicleRecord, sent: Any, initial: dict[str, Any]) -> forms.Form:
        return form(sent, initial={**dict.fromkeys(today, record.today), **initial})

    return make


def _make_correction(record: VehicleRecord, sent: Any, initial: dict[str, Any]) -> forms.Form:
    on_record = change_forms.CorrectionForm.read_initial(record.vehicle)
    return change_forms.CorrectionForm(sent, initial={**on_record, **initial}, vehicle=record.vehicle)


def _make_reading(record: VehicleRecord, sent: Any, initial: dict[str, Any]) -> forms.Form:
    return change_forms.ReadingForm(sent, initial={"day": record.today, **initial}, read_on=record.vehicle)


def _make_new_owner(record: VehicleRecord, sent: Any, initial: dict[str, Any]) -> forms.Form:
    # Where it was sold to somebody not known then, the new owner has it from that day.
    last = Ownership.objects.filter(vehicle=record.vehicle).order_by("-from_day").first()
    from_day = last.until_day if last and last.until_day else record.today
    return change_forms.NewOwnerForm(sent, initial={"from_day": from_day, "told_on": record.today, **initial})


def _make_sold_cover(record: VehicleRecord, sent: Any, initial: dict[str, Any]) -> forms.Form:
    days = dict.fromkeys(("sold_on", "registered_on"), record.today)
    return change_forms.SoldCoverForm(
        sent,
        initial={**days, "site": record.user.site_id, **initial},
        versions=list_versions(drafts=False),
        dealerships=map_dealerships().values(),
        sites=list_sites(),
    )


def _make_other_terms(record: VehicleRecord, sent: Any, initial: dict[str, Any]) -> forms.Form:
    assert record.cover is not None
    versions = list_versions(drafts=False)
    return change_forms.OtherTermsForm(
        sent, initial={"day": record.today, **initial}, cover=record.cover, versions=versions
    )


def _make_waiver(record: VehicleRecord, sent: Any, initial: dict[str, Any]) -> forms.Form:
    items = [(item, render_item(item)) for item in _list_to_do(record)]
    return change_forms.WaiverForm(sent, initial=initial, items=items)


def _list_to_do(record: VehicleRecord) -> Sequence[DueItem]:
    if record.cover is None:
        return ()
    return sort_due_items(read_cover_case(record.cover).list_what_needs_doing(record.today))


def _find_no_cover(record: VehicleRecord) -> str:
    return "" if record.cover else _("This vehicle is under no cover.")


def _find_open_cover(record: VehicleRecord) -> str:
    if record.cover is None or is_over(record.cover, record.today):
        return ""
    return _("Cover %(number)s is not over; end it first.") % {"number": record.cover.number}


def _find_no_owner(record: VehicleRecord) -> str:
    return "" if record.owner else _("No owner is on record; record the new one.")


def _find_nothing_due(record: VehicleRecord) -> str:
    return _find_no_cover(record) or ("" if _list_to_do(record) else _("Nothing is due on the cover of this vehicle."))


def _transfer(record: VehicleRecord, form: change_forms.NewOwnerForm) -> object:
    values = form.cleaned_data
    return transfer_vehicle(
        vehicle=record.vehicle,
        customer=_find_customer(record, values),
        from_day=values["from_day"],
        told_on=values["told_on"],
        corrosivity=values["corrosivity"],
        reason=values["reason"],
        **record.recording,
    )


def _find_customer(record: VehicleRecord, values: dict[str, Any]) -> Customer:
    named = {name: values[name] for name in ("name", "contact", "language")}
    try:
        return find_or_add_customer(**named, **record.recording)
    except ValidationError as error:
        raise ValidationError({"contact": error.messages}) from error


def _sell(record: VehicleRecord, form: change_forms.SaleForm) -> object:
    return record_private_sale(vehicle=record.vehicle, **form.cleaned_data, **record.recording)


def _move(record: VehicleRecord, form: change_forms.PlaceForm) -> object:
    return change_place_of_use(vehicle=record.vehicle, **form.cleaned_data, **record.recording)


def _correct(record: VehicleRecord, form: change_forms.CorrectionForm) -> object:
    values = {name: form.cleaned_data[name] for name in (*change_forms.CORRECTED, "reason")}
    return correct_record(vehicle=record.vehicle, **values, **record.recording)


def _read_odometer(record: VehicleRecord, form: change_forms.ReadingForm) -> object:
    values, distance = form.cleaned_data, form.read_odometer()
    assert distance is not None  # a valid form has it with its unit
    return record_reading(
        vehicle=record.vehicle,
        day=values["day"],
        distance=distance,
        source=values["reason"],
        **record.recording,
    )


def _list_reading_doubts(record: VehicleRecord, form: change_forms.ReadingForm) -> list[Explanation]:
    """Return what the readings on record say of a new one: why it is doubted, and what was to be expected."""
    day, distance = form.cleaned_data["day"], form.read_odometer()
    assert distance is not None  # as above
    known = list_readings(record.vehicle)
    doubt = find_doubt(known, Reading(day, distance.kilometres, "new"))
    expected = find_kilometres_on([one for one in known if one.day != day], day)
    return [*([doubt] if doubt else []), *(expected.explanations if expected.projected else ())]


def _register(record: VehicleRecord, form: change_forms.SoldCoverForm) -> object:
    values = form.cleaned_data
    versions = {str(version.pk): version for version in list_versions(drafts=False)}
    # Who had the vehicle on the day of the sale, who may have sold it since.
    buyer = find_owner_on(record.vehicle, values["sold_on"]) or record.owner
    return register_cover(
        vehicle=record.vehicle,
        terms_version=versions[values["terms"]],
        site=map_sites()[int(values["site"])],
        sold_on=values["sold_on"],
        registered_on=values["registered_on"],
        holder=buyer.customer if buyer else None,
        dealership=map_dealerships()[int(values["dealership"])] if values["dealership"] else None,
        **record.recording,
    )


def _note_transfer(record: VehicleRecord, form: change_forms.TransferNoteForm) -> object:
    return note_transfer(cover=_get_cover(record), **form.cleaned_data, **record.recording)


def _move_terms(record: VehicleRecord, form: change_forms.OtherTermsForm) -> object:
    values = form.cleaned_data
    versions = {str(version.pk): version for version in list_versions(drafts=False)}
    return move_terms(
        cover=_get_cover(record),
        to_version=versions[values["terms"]],
        day=values["day"],
        reason=values["reason"],
        **record.recording,
    )


def _end(record: VehicleRecord, form: change_forms.EndForm) -> object:
    return end_cover(cover=_get_cover(record), **form.cleaned_data, **record.recording)


def _find_no_end(record: VehicleRecord) -> str:
    if record.cover is not None:
        return _("Cover %(number)s is not ended.") % {"number": record.cover.number}
    return "" if _find_ended_cover(record) else _("No cover of this vehicle was ended by a person.")


def _find_ended_cover(record: VehicleRecord) -> Cover | None:
    """Return the cover that a person ended last, None where there is none."""
    return record.vehicle.covers.filter(ended_on__isnull=False).order_by("-recorded_at", "-pk").first()


def _take_end_back(record: VehicleRecord, form: change_forms.TakeEndBackForm) -> object:
    cover = _find_ended_cover(record)
    if cover is None:
        raise ValidationError(_find_no_end(record))
    return take_end_back(cover=cover, day=record.today, **form.cleaned_data, **record.recording)


def _waive(record: VehicleRecord, form: change_forms.WaiverForm) -> object:
    values = form.cleaned_data
    return waive_due_item(
        cover=_get_cover(record),
        due_key=values["item"],
        day=record.today,
        reason=values["reason"],
        **record.recording,
    )


def _get_cover(record: VehicleRecord) -> Cover:
    if record.cover is None:
        raise ValidationError(_find_no_cover(record))
    return record.cover


CHANGES = {
    change.slug: change
    for change in (
        Change(
            "new-owner",
            "change_vehicle",
            gettext_lazy("Change of owner"),
            gettext_lazy("The vehicle has a new owner: who, and from which day. The cover goes on as its terms say."),
            _make_new_owner,
            _transfer,
        ),
        Change(
            "sold",
            "change_vehicle",
            gettext_lazy("Sold privately, buyer not known yet"),
            gettext_lazy("The owner sold it; nobody is written to about it until the new owner is recorded."),
            _make_plain(change_forms.SaleForm, "sold_on", "told_on"),
            _sell,
            _find_no_owner,
        ),
        Change(
            "owner-contact",
            "change_vehicle",
            gettext_lazy("Correct contact and language of the owner"),
            gettext_lazy("For all vehicles of this owner. A new owner is a change of owner."),
            owner_contact.make_owner_contact,
            owner_contact.correct_owner_contact,
            owner_contact.find_no_owner_to_correct,
        ),
        Change(
            "owner-messages",
            "change_vehicle",
            gettext_lazy("What the owner is sent"),
            gettext_lazy("What they agreed to, and how they would rather be written to; for all their vehicles."),
            owner_messages.make_owner_messages,
            owner_messages.record_owner_messages,
            owner_contact.find_no_owner_to_correct,
        ),
        Change(
            "place",
            "change_vehicle",
            gettext_lazy("Place of use"),
            gettext_lazy("The vehicle is used in another place; it counts from the day on which the shop knew it."),
            _make_plain(change_forms.PlaceForm, "from_day"),
            _move,
        ),
        Change(
            "odometer",
            "record_reading",
            gettext_lazy("Odometer reading"),
            gettext_lazy("A reading without other work, such as one told by telephone."),
            _make_reading,
            _read_odometer,
            list_doubts=_list_reading_doubts,
        ),
        Change(
            "correct",
            "change_vehicle",
            gettext_lazy("Correct plate, body style or description"),
            gettext_lazy("A new plate, or something that was written down wrongly."),
            _make_correction,
            _correct,
        ),
        Change(
            "sold-cover",
            "sell_cover",
            gettext_lazy("Register a cover that was sold"),
            gettext_lazy("By a dealership or by the shop itself."),
            _make_sold_cover,
            _register,
            _find_open_cover,
        ),
        Change(
            "transfer-note",
            "change_cover",
            gettext_lazy("Note of transfer"),
            gettext_lazy("The shop was told of a change of owner on another day than the one on record."),
            _make_plain(change_forms.TransferNoteForm, "day"),
            _note_transfer,
            _find_no_cover,
        ),
        Change(
            "waive",
            "waive",
            gettext_lazy("Let the customer off one thing that is due"),
            gettext_lazy("It counts as neither done nor missed; a claim is answered from it."),
            _make_waiver,
            _waive,
            _find_nothing_due,
        ),
        Change(
            "other-terms",
            "change_cover",
            gettext_lazy("Move the cover to other terms"),
            gettext_lazy(
                "From a day on it follows another published version, which is then applied to the whole past, as if "
                "the cover had been sold under it: a visit that was due by it and not made counts as missed."
            ),
            _make_other_terms,
            _move_terms,
            _find_no_cover,
        ),
        Change(
            "end",
            "change_cover",
            gettext_lazy("End the cover"),
            gettext_lazy("Before its time: the vehicle is scrapped, say, or the sale was undone."),
            _make_plain(change_forms.EndForm, "day"),
            _end,
            _find_no_cover,
        ),
        Change(
            "take-end-back",
            "change_cover",
            gettext_lazy("Take the end of the cover back"),
            gettext_lazy("It was recorded by mistake: the cover goes on as if nobody had ended it."),
            _make_plain(change_forms.TakeEndBackForm),
            _take_end_back,
            _find_no_end,
        ),
    )
}


@transaction.atomic
def carry_out(record: VehicleRecord, change: Change, form: Any, shown_at: int, records: Records) -> None:
    """Do what was confirmed, unless the records have changed since it was shown.

    Raises:
        ChangedSinceShownError: with what changed.
        ValidationError: where it can't be done.
    """
    Vehicle.objects.select_for_update().get(pk=record.vehicle.pk)
    check_unchanged_since(shown_at, records)
    change.do(record, form)
