"""Everything that a person does to terms and covers.

With the index (``scheduling.index``) the only place in this app that writes.
"""

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from scheduling.booking.taking_over import take_visits_over
from scheduling.covers.queries import is_over, read_cover_cases, read_short_case
from scheduling.enums import CoverChangeKind
from scheduling.index.service import recompute_covers
from scheduling.models import Cover, CoverChange, SiteTerms, TermsVersion, WarrantyTerms
from scheduling.terms.queries import find_problems, find_version_problems
from scheduling.terms.rules.terms_document import TermsError, read_published_terms, write_terms
from treatments.enums import TreatmentKind
from treatments.event_log import Happening, mark_read, read_events, record_events
from treatments.models import Customer, Dealership, Ownership, Site, Treatment, User, Vehicle
from treatments.queries import find_today
from treatments.shared.faults import work_apart
from treatments.shared.rendering import render_all, render_day
from treatments.vehicles.changes import record_sale

REGISTER_READER = "scheduling.register_covers"


@transaction.atomic
def publish_terms(*, document: Mapping[str, Any], now: datetime, actor: User | None) -> TermsVersion:
    """Publish one version of terms; publishing the same document again changes nothing.

    Raises:
        TermsError: naming each field that is wrong, or that names what the shop doesn't have.
        ValidationError: where that version was published with another text, or a draft of it says something else.
    """
    terms = read_published_terms(document)
    plain = write_terms(terms)
    family = WarrantyTerms.objects.get_or_create(code=terms.code, defaults={"title": terms.title})[0]
    known = TermsVersion.objects.filter(terms=family, version=terms.version).first()
    if known and known.published_at:
        if write_terms(read_published_terms(known.document)) == plain:
            return known
        message = _("%(code)s version %(version)s is published and can't change; give the new text a higher version.")
        params = {"code": terms.code, "version": terms.version}
        raise ValidationError({"version": ValidationError(message, code="published", params=params)})
    if known and known.document != plain:
        message = _("%(draft)s is a draft with another text; publish or discard that first.")
        raise ValidationError({"version": ValidationError(message, code="draft", params={"draft": known})})
    problems = find_problems(terms) + find_version_problems(terms)
    if problems:
        raise TermsError(problems)
    published = known or TermsVersion(terms=family, version=terms.version)
    published.document = plain
    published.published_at = now
    published.save()
    happening = Happening("terms.published", "terms_version", str(published.pk), after={"document": plain})
    record_events([happening], actor=actor, now=now)
    return published


@transaction.atomic
def register_cover(
    *,
    vehicle: Vehicle,
    terms_version: TermsVersion,
    site: Site,
    sold_on: date,
    registered_on: date,
    now: datetime,
    actor: User | None,
    holder: Customer | None = None,
    dealership: Dealership | None = None,
) -> Cover:
    """Put a vehicle under a version of terms; its coming visits are for this cover from now on.

    A cover that its own terms have ended by then is ended on record too, with the number of the new one as the reason:
    whatever is written down later about the time before, it is not in force beside the new one.

    Raises:
        ValidationError: where the terms are not published or the vehicle has a cover that is not over.
    """
    Vehicle.objects.select_for_update().get(pk=vehicle.pk)
    if terms_version.published_at is None:
        raise ValidationError({"terms_version": _refuse_unpublished(terms_version)})
    earlier = list(vehicle.covers.select_related("site"))
    number = f"C{vehicle.pk:06d}-{len(earlier) + 1}"
    still_open = next((cover for cover in earlier if cover.ended_on is None), None)
    if still_open:
        day = min(registered_on, find_today(now, still_open.site))
        if not is_over(still_open, day):
            message = _("%(vin)s is under cover %(number)s; end that first.")
            params = {"vin": vehicle.vin, "number": still_open.number}
            raise ValidationError({"vehicle": ValidationError(message, code="covered", params=params)})
        end_cover(cover=still_open, day=day, reason=number, now=now, actor=actor)
    cover = Cover(
        number=number,
        vehicle=vehicle,
        terms_version=terms_version,
        site=site,
        holder=holder,
        dealership=dealership,
        sold_on=sold_on,
        registered_on=registered_on,
        recorded_at=now,
    )
    cover.full_clean()
    cover.save()
    visits = take_visits_over(cover, now)
    record_events([_describe_cover_event(cover, visits)], actor=actor, now=now)
    return cover


def _refuse_unpublished(version: TermsVersion) -> ValidationError:
    return ValidationError(_("%(version)s is not published yet."), code="not_published", params={"version": version})


def _describe_cover_event(cover: Cover, visits: Sequence[str] = ()) -> Happening:
    after = {
        "number": cover.number,
        "vehicle": cover.vehicle_id,
        "terms_version": cover.terms_version_id,
        "registered_on": cover.registered_on,
    }
    if visits:
        after["visits"] = list(visits)
    return Happening("cover.registered", "cover", str(cover.pk), after=after)


@transaction.atomic
def register_covers_for_new_treatments(*, now: datetime, limit: int = 500, failed: list[str] | None = None) -> int:
    """Register covers under a site's usual terms for first treatments that came without one.

    Reads the event log from where it left off, so that it is cheap to call often. The cover counts as sold and
    registered on the day of the first treatment, since the log that it came from says nothing else.

    Args:
        failed: takes a line for each vehicle whose cover could not be registered, with why.

    Returns:
        How many events were handled; call again until it is 0.
    """
    failed = [] if failed is None else failed
    events = read_events(REGISTER_READER, ["treatment.signed_off", "treatment.amended"], limit=limit)
    if not events:
        return 0
    usual = {chosen.site_id: chosen for chosen in SiteTerms.objects.select_related("terms_version")}
    treatments = list(
        Treatment.objects.filter(
            pk__in=[int(event.subject_id) for event in events],
            kind=TreatmentKind.FIRST_TREATMENT,
            signed_off_at__isnull=False,
            amended_by__isnull=True,
            site__in=usual,
        ).order_by("done_on", "id")
    )
    vehicles = {treatment.vehicle_id for treatment in treatments}
    covered = set(Cover.objects.filter(vehicle__in=vehicles).values_list("vehicle_id", flat=True))
    owners = {
        owned.vehicle_id: owned.customer_id
        for owned in Ownership.objects.filter(vehicle__in=vehicles, until_day__isnull=True)
    }
    covers = []
    for treatment in treatments:
        if treatment.vehicle_id in covered:
            continue
        covered.add(treatment.vehicle_id)
        covers.append(
            Cover(
                number=f"C{treatment.vehicle_id:06d}-1",
                vehicle_id=treatment.vehicle_id,
                terms_version=usual[treatment.site_id].terms_version,
                site_id=treatment.site_id,
                holder_id=owners.get(treatment.vehicle_id),
                sold_on=treatment.done_on,
                registered_on=treatment.done_on,
                recorded_at=now,
            )
        )
    work_apart(
        covers,
        lambda some: _add_covers(some, now),
        name=str,
        tell=lambda cover, why: failed.append(": ".join((cover.vehicle.vin, render_all(why)))),
    )
    mark_read(REGISTER_READER, events[-1])
    return len(events)


def _add_covers(covers: Sequence[Cover], now: datetime) -> None:
    Cover.objects.bulk_create(covers)
    record_events((_describe_cover_event(cover) for cover in covers), actor=None, now=now)


def _record_change(
    cover: Cover,
    kind: CoverChangeKind,
    *,
    day: date,
    reason: str,
    now: datetime,
    actor: User | None,
    on_cover: Mapping[str, Any] | None = None,
    **details: Any,
) -> CoverChange:
    """Write a change down, do to the cover what it says, and record the event, which signs both off."""
    if not reason.strip():
        raise ValidationError({"reason": ValidationError(_("A change to a cover needs a reason."), code="required")})
    change = CoverChange(cover=cover, kind=kind, day=day, reason=reason, actor=actor, recorded_at=now, **details)
    change.full_clean()
    change.save()
    if on_cover:
        Cover.objects.filter(pk=cover.pk).update(**on_cover)
    after = {"change": change.pk, "cover": cover.number, "day": day, "reason": reason, "due_key": change.due_key}
    record_events([Happening(f"cover.{kind}", "cover", str(cover.pk), after=after)], actor=actor, now=now)
    return change


@transaction.atomic
def waive_due_item(
    *, cover: Cover, due_key: str, day: date, reason: str, now: datetime, actor: User | None
) -> CoverChange:
    """Let the customer off one due item, with a reason.

    The waiver names the duty by its raw day, so that it stays with it whatever is written down later.

    Raises:
        ValidationError: without a reason, or where the cover has no such item to be done.
    """
    Cover.objects.select_for_update().get(pk=cover.pk)
    (case,) = read_cover_cases([cover])
    due = {item.key: item for item in case.read_due_items(day) if item.needs_doing}
    if due_key not in due:
        message = _("'%(due_key)s' is not due on cover %(number)s; there is: %(due)s.")
        params = {"due_key": due_key, "number": cover.number, "due": ", ".join(due) or "–"}
        raise ValidationError({"due_key": ValidationError(message, code="not_due", params=params)})
    return _record_change(
        cover,
        CoverChangeKind.DUE_ITEM_WAIVED,
        day=day,
        reason=reason,
        now=now,
        actor=actor,
        due_key=due[due_key].waiver_key,
    )


@transaction.atomic
def waive_open_items(*, cover: Cover, day: date, reason: str, now: datetime, actor: User | None) -> list[CoverChange]:
    """Let the customer off all that is open on a cover, with a reason; the due list shows it at once.

    Raises:
        ValidationError: without a reason, or where nothing is open on the cover.
    """
    Cover.objects.select_for_update().get(pk=cover.pk)
    (case,) = read_cover_cases([cover])
    keys = [item.waiver_key for item in case.list_open_items(day)]
    if not keys:
        message = _("Nothing is open on cover %(number)s.")
        raise ValidationError(message, code="nothing_open", params={"number": cover.number})
    kind = CoverChangeKind.DUE_ITEM_WAIVED
    changes = [_record_change(cover, kind, day=day, reason=reason, now=now, actor=actor, due_key=key) for key in keys]
    recompute_covers(keys=[cover.pk], as_of=day)
    return changes


def _check_begun(cover: Cover, day: date) -> None:
    """Refuse a day before the first treatment, or before the sale where there is none: nothing counts before it."""
    first = read_short_case(cover).history.find_first_treatment()
    if first is not None and day < first.day:
        message = _("%(day)s is before the first treatment on %(began)s; write that day or a later one.")
        params = {"day": render_day(day), "began": render_day(first.day)}
        raise ValidationError({"day": ValidationError(message, code="before_treatment", params=params)})
    if first is None and day < cover.sold_on:
        message = _("%(day)s is before the sale on %(sold)s; write that day or a later one.")
        params = {"day": render_day(day), "sold": render_day(cover.sold_on)}
        raise ValidationError({"day": ValidationError(message, code="before_sale", params=params)})


@transaction.atomic
def move_terms(
    *, cover: Cover, to_version: TermsVersion, day: date, reason: str, now: datetime, actor: User | None
) -> CoverChange:
    """Move a cover to another published version of terms from a day on, with a reason.

    Raises:
        ValidationError: without a reason, where the version is not published, or for a day before the cover began.
    """
    locked = Cover.objects.select_for_update().get(pk=cover.pk)
    _check_begun(locked, day)
    if to_version.published_at is None:
        raise ValidationError({"to_version": _refuse_unpublished(to_version)})
    return _record_change(
        locked,
        CoverChangeKind.TERMS_MOVED,
        day=day,
        reason=reason,
        now=now,
        actor=actor,
        on_cover={"terms_version": to_version},
        from_version=locked.terms_version,
        to_version=to_version,
    )


@transaction.atomic
def note_transfer(*, cover: Cover, day: date, reason: str, now: datetime, actor: User | None) -> CoverChange:
    """Record that the shop was told on ``day`` of a new owner."""
    return _record_change(cover, CoverChangeKind.TRANSFER_NOTIFIED, day=day, reason=reason, now=now, actor=actor)


@transaction.atomic
def record_private_sale(
    *, vehicle: Vehicle, sold_on: date, told_on: date, reason: str, now: datetime, actor: User | None
) -> None:
    """Record that the vehicle was sold to somebody not known yet, and on its cover that the shop was told of it.

    Raises:
        ValidationError: without a reason, without an owner on record, or for a day that can't be.
    """
    record_sale(vehicle=vehicle, sold_on=sold_on, told_on=told_on, reason=reason, now=now, actor=actor)
    for cover in vehicle.covers.select_for_update().filter(ended_on__isnull=True):
        note_transfer(cover=cover, day=told_on, reason=reason, now=now, actor=actor)


@transaction.atomic
def end_cover(*, cover: Cover, day: date, reason: str, now: datetime, actor: User | None) -> CoverChange:
    """End a cover before its time; ``day`` is the first day without cover.

    Raises:
        ValidationError: without a reason, where it was ended already, or for a day before it began.
    """
    locked = Cover.objects.select_for_update().get(pk=cover.pk)
    if locked.ended_on is not None:
        message = _("Cover %(number)s was already ended.")
        raise ValidationError(message, code="ended", params={"number": cover.number})
    _check_begun(locked, day)
    return _record_change(
        locked,
        CoverChangeKind.ENDED,
        day=day,
        reason=reason,
        now=now,
        actor=actor,
        on_cover={"ended_on": day, "end_reason": reason},
    )


@transaction.atomic
def take_end_back(*, cover: Cover, day: date, reason: str, now: datetime, actor: User | None) -> CoverChange:
    """Take back an end that a person recorded by mistake; what was known until now stays as it was known.

    Args:
        day: the day on which it is taken back.

    Raises:
        ValidationError: without a reason, where nobody ended it, or where the vehicle is under another cover by now.
    """
    Vehicle.objects.select_for_update().get(pk=cover.vehicle_id)
    locked = Cover.objects.select_for_update().get(pk=cover.pk)
    if locked.ended_on is None:
        message = _("Nobody has ended cover %(number)s.")
        raise ValidationError(message, code="not_ended", params={"number": locked.number})
    other = Cover.objects.filter(vehicle=locked.vehicle_id, ended_on__isnull=True).first()
    if other is not None:
        message = _("The vehicle is under cover %(other)s by now; end that first, if cover %(number)s is to go on.")
        raise ValidationError(message, code="covered", params={"other": other.number, "number": locked.number})
    return _record_change(
        locked,
        CoverChangeKind.END_TAKEN_BACK,
        day=day,
        reason=reason,
        now=now,
        actor=actor,
        on_cover={"ended_on": None, "end_reason": ""},
    )


__all__ = [
    "TermsError",
    "end_cover",
    "move_terms",
    "note_transfer",
    "publish_terms",
    "record_private_sale",
    "register_cover",
    "register_covers_for_new_treatments",
    "take_end_back",
    "waive_due_item",
    "waive_open_items",
]
