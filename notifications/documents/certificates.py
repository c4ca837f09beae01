"""Reads what stands on certificates, one or many at once, and what they are checked by later."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date
from itertools import islice
from typing import Any

from django.db.models import Q
from django.utils import translation
from django.utils.translation import gettext as _

from notifications.documents.certificate_words import (
    render_begin,
    render_duties,
    render_end,
    render_exclusions,
    render_heading,
    render_how_to_claim,
    render_nothing_due,
    render_payment,
    render_warning,
)
from notifications.documents.codes import DocumentKind, write_link
from notifications.documents.house import describe_house
from notifications.documents.pdf.certificate import Certificate, DueRow, build_certificate
from notifications.documents.plan.vehicle_plan import PlanStatus, ZoneState, list_key
from notifications.documents.queries import draw_plan, list_zone_states
from notifications.languages import choose_language
from notifications.reminders.rules.reminders import find_zones_to_complete
from scheduling.covers.queries import CoverCase, read_cover_case, read_cover_cases
from scheduling.covers.rules.cover import NO_MORE_COVER, CoverOnDay
from scheduling.covers.rules.due import DueItem, DueKind
from scheduling.covers.rules.ends import CoverStatus
from scheduling.covers.rules.entry import find_zones_outside
from scheduling.covers.rules.exposure import is_severe
from scheduling.models import Cover
from treatments.event_log.verification import read_checkpoint
from treatments.models import Ownership
from treatments.reference.cache import reading_reference_once
from treatments.reference.queries import map_zone_names
from treatments.rules.formats import ENGLISH
from treatments.shared.counts import count_zones
from treatments.shared.labels import label, translate_catalogue
from treatments.shared.rendering import find_language, render_all

# As many covers are read at once: enough that the queries cost little, few enough to be held.
COVERS_AT_ONCE = 200


def read_certificate_pdf(cover: Cover, *, as_of: date, language: str | None = None, names_owner: bool = True) -> bytes:
    """Return the certificate of a cover as it stands on a day as PDF bytes.

    Args:
        language: None for that of the customer.
        names_owner: whether who reads it may see who owns the vehicle.
    """
    ((_cover, pdf),) = read_certificate_pdfs([cover], as_of=as_of, language=language, names_owner=names_owner)
    return pdf


def read_certificate_pdfs(
    covers: Iterable[Cover], *, as_of: date, language: str | None = None, names_owner: bool = True
) -> Iterator[tuple[Cover, bytes]]:
    """Yield each cover with its certificate, read in sets; the arguments are those of one.

    Args:
        covers: covers with ``vehicle`` and ``site`` loaded.
    """
    code = read_checkpoint().code
    waiting = iter(covers)
    while some := list(islice(waiting, COVERS_AT_ONCE)):
        with reading_reference_once():
            owners = read_owners_on([cover.vehicle_id for cover in some], as_of)
            cases = read_cover_cases(some)
            described = []
            for case in cases:
                owned = owners.get(case.cover.vehicle_id)
                chosen = language or _choose_language(owned)
                with translation.override(chosen):
                    told = describe_certificate(case, as_of, owned, names_owner=names_owner, code=code)
                    described.append((case.cover, chosen, told))
        for cover, chosen, told in described:
            with translation.override(chosen):
                pdf = build_certificate(told)
            yield cover, pdf


def read_owners_on(vehicles: Sequence[int], day: date) -> dict[int, Ownership]:
    """Return who owned some vehicles on a day, with the customer, by vehicle; those of which it is on record."""
    standing = Ownership.objects.filter(vehicle__in=vehicles, from_day__lte=day)
    standing = standing.filter(Q(until_day__isnull=True) | Q(until_day__gt=day)).select_related("customer")
    owners: dict[int, Ownership] = {}
    for owned in standing:
        owners.setdefault(owned.vehicle_id, owned)
    return owners


def _choose_language(owned: Ownership | None) -> str:
    """Return the language of an owner, English where nobody is on record."""
    return choose_language(owned.customer) if owned else ENGLISH


def describe_certificate(
    case: CoverCase, as_of: date, owned: Ownership | None, *, names_owner: bool = True, code: str = ""
) -> Certificate:
    """Return everything that stands on the certificate, in the language in use.

    Args:
        owned: who owned the vehicle on the day.
        code: where the event log stands now.
    """
    cover, terms = case.cover, case.find_terms(as_of)
    vehicle, site = cover.vehicle, cover.site
    state = case.read_state(as_of)
    names = map_zone_names()
    first = case.history.find_first_treatment()
    to_complete, items = _read_due(case, state)
    nothing_due = render_nothing_due(state, _name_zones(to_complete, names))
    states = list_zone_states(vehicle, case.history, items, as_of)
    outside = find_zones_outside(case.history.find_intake())
    content = list_content(case, state, states, owned if names_owner else None)
    return Certificate(
        house=describe_house(site),
        number=cover.number,
        customer_name=(owned.customer.name if owned else _("not recorded")) if names_owner else _("not shown"),
        vehicle_title=vehicle.description or _("vehicle"),
        vin=vehicle.vin,
        plate=vehicle.plate,
        terms_title=terms.find_title(find_language()),
        terms_version=terms.version,
        first_treated_on=first.day if first else None,
        ends_text=render_end(terms, state),
        heading=render_heading(state),
        state_explained=render_all(state.explanations, names),
        warning=render_warning(state),
        as_of=as_of,
        nothing_due=nothing_due,
        due=tuple(_describe_due(item) for item in items if item.needs_doing),
        key=list_key(states),
        plan=draw_plan(vehicle, states),
        covered=(*(label(kind).capitalize() for kind in terms.claims.damage_covered), *render_begin(terms)),
        not_covered=render_exclusions(
            terms, _name_zones(terms.claims.excluded_zones, names), _name_zones(outside, names)
        ),
        duties=render_duties(terms, severe=is_severe(terms, case.facts.find_place_of_use(as_of))),
        payment=render_payment(terms),
        how_to_claim=render_how_to_claim(terms, site.phone, site.email),
        link=write_link(DocumentKind.CERTIFICATE, cover.pk, as_of, content, names_owner=names_owner),
        verification_code=code,
    )


def _read_due(case: CoverCase, state: CoverOnDay) -> tuple[Sequence[str], Sequence[DueItem]]:
    """Return the zones without which the cover has not begun, and what is due where dates are to be kept."""
    if state.status in NO_MORE_COVER:
        return (), ()
    pending = state.status is CoverStatus.PENDING
    to_complete = find_zones_to_complete(case.find_terms(state.day), case.history, state.day) if pending else ()
    return to_complete, () if to_complete else case.read_due_items(state.day)


def list_content(case: CoverCase, state: CoverOnDay, states: Sequence[ZoneState], owned: Ownership | None) -> list[Any]:
    """Return what a certificate is made from as plain values, whatever its language and wording.

    Dates that are due follow from it and the terms; an end that was decided later makes no paper wrong.

    Args:
        owned: who is named on it, None for nobody.
    """
    cover, vehicle = case.cover, case.cover.vehicle
    terms = case.find_terms(state.day)
    first = case.history.find_first_treatment()
    return [
        [cover.number, vehicle.vin, vehicle.plate, vehicle.description, owned.customer.name if owned else ""],
        [terms.code, terms.version, _write_day(first.day if first else None)],
        [state.status, str(state.percent), _write_day(state.since)],
        [
            [
                zone.zone_code,
                zone.status is PlanStatus.NOT_COVERED,
                _write_day(zone.last_treated_on),
                zone.product,
                zone.lot,
            ]
            for zone in states
        ],
    ]


def _write_day(day: date | None) -> str:
    return day.isoformat() if day else ""


def _name_zones(codes: Iterable[str], names: Mapping[str, str]) -> list[str]:
    return [translate_catalogue(names.get(code, code)) for code in codes]


def _describe_due(item: DueItem) -> DueRow:
    what = _("Reinspection")
    if item.kind is DueKind.TOUCH_UP:
        what = _("Touch-up, %(zones)s") % {"zones": count_zones(len(item.zones))}
    dates = item.dates
    return DueRow(what, dates.target_on, dates.last_on, dates.grace_until, render_all(item.reasons))


def read_certificate_content(cover: Cover, as_of: date, *, names_owner: bool) -> list[Any]:
    """Return what the certificate of a day would be made from by what is on record now, as plain values."""
    case = read_cover_case(cover)
    states = list_zone_states(cover.vehicle, case.history, (), as_of)
    owned = read_owners_on([cover.vehicle_id], as_of).get(cover.vehicle_id) if names_owner else None
    return list_content(case, case.read_state(as_of), states, owned)
