"""Says in a few words what a visit is for: what is due by its day, or soon, or that nothing is.

It knows no more than the due items near that day; which are near is for the caller to say.
"""

from collections.abc import Sequence
from datetime import date

from django.utils.translation import gettext as _

from scheduling.covers.rules.due_item import DueItem, DueKind
from treatments.enums import TreatmentKind
from treatments.shared.rendering import render_day


def render_work(near: Sequence[DueItem], today: date, *, is_first: bool) -> str:
    """Return what a visit is for, with the day where that is not today.

    Args:
        near: what must be done and opens by today or soon.
        is_first: whether the vehicle was never treated.
    """
    is_open = [item for item in near if item.dates.opens_on <= today]
    if is_first:
        if _list_kinds(is_open, DueKind.REINSPECTION):
            return _("First treatment with reinspection")
        return _("First treatment")
    if is_open:
        due_on = min(item.dates.target_on for item in is_open)
        return _("%(work)s, best on %(day)s") % {"work": _name(is_open), "day": render_day(due_on)}
    if near:
        due_on = min(item.dates.target_on for item in near)
        # One visit on that day serves all that is open then.
        what = _name([item for item in near if item.dates.opens_on <= due_on])
        told = {"work": f"{what[0].lower()}{what[1:]}", "day": render_day(due_on)}
        return _("Nothing is due today; next %(work)s, best on %(day)s") % told
    return _("Nothing is due")


def guess_treatment_kind(near: Sequence[DueItem], *, is_first: bool) -> TreatmentKind | None:
    """Return of which kind a treatment now is likely to be; None where no film is near its time, so anything may be."""
    if is_first:
        return TreatmentKind.FIRST_TREATMENT
    return TreatmentKind.ANNUAL_TOUCH_UP if _list_kinds(near, DueKind.TOUCH_UP) else None


def _list_kinds(items: Sequence[DueItem], kind: DueKind) -> list[DueItem]:
    return [item for item in items if item.kind is kind]


def _name(items: Sequence[DueItem]) -> str:
    if not _list_kinds(items, DueKind.TOUCH_UP):
        return _("Reinspection")
    if _list_kinds(items, DueKind.REINSPECTION):
        return _("Annual touch-up with reinspection")
    return _("Annual touch-up")
