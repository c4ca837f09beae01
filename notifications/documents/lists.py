"""Reads the lists that are printed: whom to tell of a lot, and what is due, for the wall."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import date

from django.utils.translation import gettext as _

from notifications.documents.house import describe_house
from notifications.documents.pdf.lists import (
    RecalledVehicle,
    RecallList,
    WallList,
    WallRow,
    build_recall_list,
    build_wall_list,
)
from scheduling.due_list.queries import (
    BOOKED_OR_NOT,
    URGENCIES,
    DueFilter,
    DueRow,
    Order,
    find_cover_urgency,
    find_horizon,
    list_near_items,
    read_due_page,
)
from treatments.models import Lot, Site, User
from treatments.reference.queries import list_sites
from treatments.shared.counts import count_zones
from treatments.shared.labels import label, translate_catalogue
from treatments.stock.queries import Use, UseSearch, walk_uses

MOST_ON_THE_WALL = 500
ROWS_AT_ONCE = 100
SIGNS_OF_VIN = 6


def read_recall_list_pdf(lot: Lot, *, site: Site | None, as_of: date) -> bytes:
    """Return the list of a lot as a PDF: a row for each vehicle, those of one owner together, by the owner's name.

    Args:
        site: whose letterhead it bears.
    """
    by_vehicle: dict[str, list[Use]] = defaultdict(list)
    for use in walk_uses(UseSearch(lot=lot.pk)):
        by_vehicle[use.vin].append(use)
    vehicles = [_describe_vehicle(uses) for uses in by_vehicle.values()]
    vehicles.sort(key=lambda one: (not one.owner, one.owner.casefold(), one.reach, one.plate, one.vin))
    return build_recall_list(
        RecallList(
            house=describe_house(site),
            product=lot.product.name,
            lot=lot.number,
            recalled_on=lot.recalled_on,
            reason=lot.recall_reason,
            as_of=as_of,
            vehicles=tuple(vehicles),
        )
    )


def _describe_vehicle(uses: Sequence[Use]) -> RecalledVehicle:
    first, owner = uses[0], uses[0].owner
    reach = dict.fromkeys(text for text in (owner.phone, owner.email, owner.contact) if text) if owner else {}
    zones = [(use.done_on, tuple(dict.fromkeys(map(translate_catalogue, use.zone_names)))) for use in uses]
    return RecalledVehicle(
        first.plate, first.description, first.vin, tuple(zones), owner.name if owner else "", tuple(reach)
    )


def read_wall_list_pdf(
    user: User, wanted: DueFilter, *, todays: Mapping[int, date], as_of: date, site: Site | None
) -> bytes:
    """Return what is due as a PDF without anybody's name, telephone or mail, in the order of the due list.

    Args:
        user: who asks; only what that person may see is printed.
        wanted: what the list is narrowed to.
        todays: the day at each site, by its key.
        as_of: the day by which the list is cut.
        site: whose letterhead it bears.
    """
    rows, left_out = _read_rows(user, as_of, wanted)
    work = _read_work(rows, as_of)
    described = [
        (find_cover_urgency(row, todays[row.site_id]), _describe_row(row, work.get(row.cover_id, ()))) for row in rows
    ]
    sections: list[tuple[str, tuple[WallRow, ...]]] = [("", tuple(row for _urgency, row in described))]
    if wanted.order is Order.PRESSING:
        sections = [
            (str(words).capitalize(), tuple(row for urgency, row in described if urgency == code))
            for code, words in URGENCIES.items()
        ]
    return build_wall_list(
        WallList(describe_house(site), _describe_filter(wanted), as_of, tuple(sections), left_out=left_out)
    )


def _read_rows(user: User, as_of: date, wanted: DueFilter) -> tuple[list[DueRow], bool]:
    rows: list[DueRow] = []
    after: str | None = ""
    while after is not None and len(rows) < MOST_ON_THE_WALL:
        page = read_due_page(user, as_of, wanted, after=after, size=ROWS_AT_ONCE)
        rows += page.rows
        after = page.after
    return rows[:MOST_ON_THE_WALL], after is not None or len(rows) > MOST_ON_THE_WALL


def _read_work(rows: Iterable[DueRow], as_of: date) -> dict[int, tuple[str, ...]]:
    """Return in words what is due on each cover of the list, the most pressing first."""
    found: dict[int, list[str]] = defaultdict(list)
    for item in list_near_items([row.cover_id for row in rows], find_horizon(as_of)):
        kind, zones = label(item.kind), len(item.zones)
        found[item.cover_id].append(f"{kind} · {count_zones(zones)}" if zones else kind)
    return {cover: tuple(words) for cover, words in found.items()}


def _describe_row(row: DueRow, work: tuple[str, ...]) -> WallRow:
    plate = row.plate or _("VIN …%(signs)s") % {"signs": row.vin[-SIGNS_OF_VIN:]}
    return WallRow(plate, row.description, work, row.due_last_on, row.booked_on)


def _describe_filter(wanted: DueFilter) -> str:
    """Return what a list is narrowed to; a word that was searched for may be somebody's name and is not told."""
    sites = {site.code: site.name for site in list_sites()}
    told = [
        sites.get(wanted.site, wanted.site),
        label(wanted.kind) if wanted.kind else "",
        str(URGENCIES[wanted.urgency]) if wanted.urgency else "",
        str(BOOKED_OR_NOT[wanted.booked]) if wanted.booked else "",
        _("found by a search") if wanted.text else "",
    ]
    return ", ".join(text for text in told if text)
