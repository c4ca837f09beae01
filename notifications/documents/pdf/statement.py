"""The monthly statement of a dealership: its figures, charts of the last months, and the vehicles to look after."""

from collections.abc import Sequence
from datetime import date
from decimal import Decimal

from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from reportlab.lib.units import mm
from reportlab.platypus import KeepTogether, Spacer

from claims.rules.statement import MonthOfVisits, Pressing, StatedClaim, StatedCover, Statement
from notifications.documents.pdf.charts import make_bars
from notifications.documents.pdf.document import House, build_document
from notifications.documents.pdf.parts import heading, make_key_figures, make_table, write
from notifications.documents.pdf.style import SMALL
from scheduling.covers.rules.ends import CoverStatus
from treatments.rules.formats import Money
from treatments.shared.labels import label
from treatments.shared.rendering import render_day, render_money, render_month, render_number


def build_statement(statement: Statement, *, house: House, written_on: date) -> bytes:
    """Return the statement as PDF bytes, in the language in use.

    Args:
        house: of the shop that writes it.
        written_on: the day by whose records the figures were computed.
    """
    s = statement
    title = _("Monthly statement: %(dealership)s, %(month)s") % {
        "dealership": s.dealership,
        "month": render_month(s.month),
    }
    due, overdue = map(s.list_pressing, Pressing)
    told = {"day": render_day(s.as_of), "today": render_day(written_on)}
    story: list[object] = [
        heading(title, 1),
        write(_("Covers as they stood on %(day)s, by what is on record on %(today)s.") % told),
        Spacer(1, 3 * mm),
        make_key_figures(
            [
                (_("Registered in the month"), render_number(len(s.registered))),
                (_("Covers in force"), render_number(s.count(CoverStatus.IN_FORCE))),
                (_("Something is due"), render_number(len(due))),
                (_("Overdue"), render_number(len(overdue))),
                (_("Lapsed in the month"), render_number(len(s.lapsed))),
                (_("Claims not decided"), render_number(s.open_claims)),
                (_("Decided in the month"), _render_sums(s.decided)),
                (_("Paid in the month"), _render_sums(s.paid)),
                (_("Visits kept, 12 months"), _render_share(s.share_kept)),
                (_("Covers in all"), render_number(len(s.covers))),
            ]
        ),
    ]
    if s.failed:
        story.append(
            write(
                ngettext(
                    "1 cover can't be computed and is left out: %(covers)s.",
                    "%(count)s covers can't be computed and are left out: %(covers)s.",
                    len(s.failed),
                )
                % {"count": len(s.failed), "covers": ", ".join(s.failed[:10])}
            )
        )
    months = [f"{month:%m}/{month:%y}" for month in s.months]
    story += [
        _chart(_("Covers registered by month"), months, [s.registered_by_month]),
        _chart(
            _("What was due by month"),
            months,
            [[v.in_time for v in s.visits], [v.late for v in s.visits], [v.missed for v in s.visits]],
            (_("In time"), _("Late"), _("Missed")),
        ),
        heading(_("Month by month")),
        write(
            _("A cover counts in the month in which what was due on it could last be done, days of grace included."),
            SMALL,
        ),
        Spacer(1, 1 * mm),
        _list_months(s),
    ]
    if s.claims:
        story += [heading(_("Claims reported, decided or paid in the month")), _list_claims(s.claims)]
    for words, covers in (
        (_("Overdue"), overdue),
        (_("Something is due"), due),
        (_("Lapsed in the month"), s.lapsed),
        (_("Registered in the month"), s.registered),
    ):
        if covers:
            story += [heading(f"{words} ({render_number(len(covers))})"), _list_covers(covers)]
    return build_document(
        story,
        house=house,
        title=title,
        subject=_("Monthly statement"),
        foot=_("%(shop)s · statement %(dealership)s %(month)s · written %(day)s")
        % {
            "shop": house.name,
            "dealership": s.dealership,
            "month": render_month(s.month),
            "day": told["today"],
        },
    )


def _chart(
    title: str, labels: Sequence[str], series: Sequence[Sequence[int]], names: Sequence[str] = ()
) -> KeepTogether:
    return KeepTogether([heading(title), make_bars(title, labels, series, names=names, height_mm=33)])


def _render_sums(sums: Sequence[Money]) -> str:
    return "\n".join(render_money(one.amount, one.currency) for one in sums) or "–"


def _render_share(share: Decimal | None) -> str:
    return "–" if share is None else _("%(share)s %%") % {"share": render_number(share)}


def _list_months(s: Statement) -> object:
    headings = [_("Month"), _("Registered"), _("In time"), _("Late"), _("Missed"), _("Kept"), _("Claims reported")]

    def describe(registered: int, visits: MonthOfVisits, claims: int) -> list[str]:
        figures = [registered, visits.in_time, visits.late, visits.missed]
        return [
            render_month(visits.month),
            *map(render_number, figures),
            _render_share(visits.share_kept),
            render_number(claims),
        ]

    rows = [describe(*row) for row in zip(s.registered_by_month, s.visits, s.claims_by_month, strict=True)]
    return make_table(headings, rows, (42, 24, 22, 22, 22, 22, 26), numbers=(1, 2, 3, 4, 5, 6))


def _list_claims(claims: Sequence[StatedClaim]) -> object:
    headings = [_("Claim"), _("Vehicle"), _("Claim reported"), _("Decision"), _("Amount"), _("Paid in the month")]
    rows = [
        (
            one.number,
            f"{one.description}\n{one.vin}",
            render_day(one.reported_on),
            f"{label(one.decided)}\n{render_day(one.decided_on)}" if one.decided else _("not decided"),
            render_money(one.amount.amount, one.amount.currency) if one.amount else "–",
            render_money(one.paid_in_month.amount, one.paid_in_month.currency) if one.paid_in_month else "–",
        )
        for one in claims
    ]
    return make_table(headings, rows, (32, 46, 28, 30, 22, 22), numbers=(4, 5))


def _list_covers(covers: Sequence[StatedCover]) -> object:
    headings = [_("Vehicle"), _("VIN"), _("Cover"), _("Sold"), _("State"), _("What"), _("Last day")]
    rows = [
        (
            " · ".join(text for text in (one.plate, one.description) if text),
            one.vin,
            one.number,
            render_day(one.sold_on),
            label(one.standing.status),
            label(one.standing.due_kind) if one.standing.due_kind else "–",
            render_day(one.standing.due_last_on),
        )
        for one in covers
    ]
    return make_table(headings, rows, (36, 35, 22, 22, 20, 21, 24))
