"""What in well-formed terms contradicts itself or can't be meant, told field by field.

Only the terms speak here; what contradicts a shop's records (its zones, its products) is in terms_fit.py.
"""

import re
from collections.abc import Callable, Iterator
from dataclasses import fields, is_dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from babel.core import get_global

from scheduling.terms.rules.terms import MissedMeans, PayDownStep, ReinspectionTerms, Terms
from scheduling.terms.rules.terms_problems import TermsProblem
from treatments.enums import ZoneKind

# Between the last day of grace of one reinspection and the opening of the next there must be room for closed days.
LEAST_DAYS_BETWEEN_WINDOWS = 14
SHORTEST_MONTH_DAYS = 28
MOST_MONTHS = 1200
MOST_DAYS = 3660
MOST_NUMBER = 1_000_000_000
CODE = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,49}")
LONGEST_TITLE = 160


def list_currencies() -> frozenset[str]:
    """Return the codes of ISO 4217 that the CLDR, as Babel carries it, knows."""
    return frozenset(get_global("all_currencies"))


Refuse = Callable[[str, object, str], None]


def find_contradictions(terms: Terms) -> list[TermsProblem]:
    """Return what in well-formed terms contradicts itself or can't be meant."""
    problems: list[TermsProblem] = []

    def refuse(field: str, value: object, sentence: str) -> None:
        problems.append(TermsProblem(field, str(value), sentence))

    for path, value in _walk_numbers(terms, ""):
        most = MOST_MONTHS if path.endswith(("_months", "_month")) else MOST_DAYS if path.endswith("_days") else None
        if most is not None and value > most:
            refuse(path, value, f"Write at most {most}; that is longer than any promise.")
        elif value > MOST_NUMBER:
            refuse(path, value, f"Write at most {MOST_NUMBER}.")
    if problems:  # nothing can be counted with such numbers
        return problems
    _check_names(terms, refuse)
    if terms.length_months == 0:
        refuse("length_months", terms.length_months, "Leave it out for an unlimited cover, or write at least 1.")
    if terms.distance_limit_km == 0:
        refuse("distance_limit_km", terms.distance_limit_km, "Leave it out for no limit, or write more than 0.")
    _check_entry(terms, refuse)
    _check_reinspection(terms, refuse)
    _check_touch_ups(terms, refuse)
    _check_seasons(terms, refuse)
    _check_severe(terms, refuse)
    _check_transfer(terms, refuse)
    _check_claims(terms, refuse)
    return problems


def _walk_numbers(value: Any, path: str) -> Iterator[tuple[str, int | Decimal]]:
    if is_dataclass(value):
        for field in fields(value):
            yield from _walk_numbers(getattr(value, field.name), f"{path}.{field.name}".lstrip("."))
    elif isinstance(value, tuple):
        for number, item in enumerate(value):
            yield from _walk_numbers(item, f"{path}[{number}]")
    elif isinstance(value, int | Decimal) and not isinstance(value, bool):
        yield path, value


def _check_names(terms: Terms, refuse: Refuse) -> None:
    if not CODE.fullmatch(terms.code):
        refuse("code", repr(terms.code), "Write up to 50 letters, digits and hyphens, such as lifetime-yearly.")
    if terms.version < 1:
        refuse("version", terms.version, "Versions count from 1.")
    if len(terms.title) > LONGEST_TITLE:
        refuse("title", f"{len(terms.title)} characters", f"Write at most {LONGEST_TITLE} characters.")
    capitals = terms.currency.upper()
    if capitals not in list_currencies():
        refuse("currency", repr(terms.currency), "No currency of ISO 4217 has this code; write one such as USD or CAD.")
    elif terms.currency != capitals:
        refuse("currency", repr(terms.currency), f"Write it in capitals: {capitals}.")


def _check_repeats(path: str, listed: tuple[str, ...], refuse: Refuse) -> None:
    for number, item in enumerate(listed):
        if item in listed[:number]:
            refuse(f"{path}[{number}]", str(item), "It is listed already; name it once.")


def _check_entry(terms: Terms, refuse: Refuse) -> None:
    rusted = terms.entry.max_rusted_area_percent
    if rusted is not None and rusted > 100:
        refuse("entry.max_rusted_area_percent", rusted, "Write 0 to 100, or leave it out for no limit.")
    _check_repeats("entry.required_zones", terms.entry.required_zones, refuse)


def _check_reinspection(terms: Terms, refuse: Refuse) -> None:
    duty = terms.reinspection
    if duty is None:
        return
    for name in ("first_after_months", "interval_months"):
        if getattr(duty, name) < 1:
            refuse(f"reinspection.{name}", getattr(duty, name), "Write at least 1 month.")
    _check_window(terms, duty, refuse)
    reduces = duty.missed_means is MissedMeans.REDUCES
    if reduces and duty.reduced_to_percent is None:
        refuse("reinspection.reduced_to_percent", "missing", "missed_means is 'reduces': say to what per cent.")
    if not reduces and duty.reduced_to_percent is not None:
        refuse(
            "reinspection.reduced_to_percent",
            duty.reduced_to_percent,
            "It has no meaning unless missed_means is 'reduces'; leave it out.",
        )
    if duty.reduced_to_percent is not None and duty.reduced_to_percent > 100:
        refuse("reinspection.reduced_to_percent", duty.reduced_to_percent, "Write 0 to 100.")


def _find_shortest_interval(terms: Terms, duty: ReinspectionTerms) -> tuple[int, str]:
    """Return the shortest number of months from one reinspection to the next, and the field that says it."""
    severe = terms.severe_exposure.reinspection_interval_months if terms.severe_exposure else None
    if severe is not None and severe < duty.interval_months:
        return severe, "severe_exposure.reinspection_interval_months"
    return duty.interval_months, "reinspection.interval_months"


def _check_window(terms: Terms, duty: ReinspectionTerms, refuse: Refuse) -> None:
    """Refuse a window longer than the interval, then windows that meet, then grace that reaches the next window."""
    months, field = _find_shortest_interval(terms, duty)
    if months < 1:
        return
    # In whole days of the shortest month, since the same terms must hold from any day of any year.
    interval = months * SHORTEST_MONTH_DAYS
    room = interval - LEAST_DAYS_BETWEEN_WINDOWS
    between = f"the {months} months of {field}"
    before, after, grace = duty.window_before_days, duty.window_after_days, duty.grace_days
    if duty.first_after_months >= 1 and duty.first_after_months * SHORTEST_MONTH_DAYS <= before <= room:
        refuse(
            "reinspection.window_before_days",
            before,
            f"The first window would open before the first treatment; with first_after_months = "
            f"{duty.first_after_months} write at most {duty.first_after_months * SHORTEST_MONTH_DAYS - 1} days.",
        )
    alone = [(name, days) for name, days in _name_window(duty) if days > room]
    for name, days in alone:
        refuse(
            f"reinspection.{name}",
            days,
            f"The window is longer than {between} leave room for; write at most {room} days or lengthen the interval.",
        )
    if alone:
        return
    if before + after > room:
        name, days = max(_name_window(duty), key=lambda part: part[1])
        refuse(
            f"reinspection.{name}",
            days,
            f"The window of {before} days before and {after} after is longer than {between} leave room for; together "
            f"they may be at most {room} days, or two reinspections overlap.",
        )
    elif before + after + grace > room:
        refuse(
            "reinspection.grace_days",
            grace,
            f"The grace would reach past the opening of the next window: with {before} days before and {after} after, "
            f"{between} leave at most {room - before - after} days of grace.",
        )


def _name_window(duty: ReinspectionTerms) -> tuple[tuple[str, int], tuple[str, int]]:
    return ("window_before_days", duty.window_before_days), ("window_after_days", duty.window_after_days)


def _check_touch_ups(terms: Terms, refuse: Refuse) -> None:
    # Without reinspections the window of a touch-up is the usual one.
    before = (terms.reinspection or ReinspectionTerms()).window_before_days
    seen = [(rule.family, rule.zone_kind) for rule in terms.touch_ups]
    for number, rule in enumerate(terms.touch_ups):
        field = f"touch_ups[{number}].interval_months"
        if rule.interval_months < 1:
            refuse(field, rule.interval_months, "Write at least 1 month.")
        elif rule.interval_months * SHORTEST_MONTH_DAYS <= before:
            refuse(
                field,
                rule.interval_months,
                f"The window opens {before} days before, which is before the coat itself; lengthen the interval or "
                "shorten reinspection.window_before_days.",
            )
        if seen[number] in seen[:number]:
            family, kind = (str(part) if part else "any" for part in seen[number])
            refuse(
                f"touch_ups[{number}]",
                f"family {family}, zone kind {kind}",
                "An earlier rule is for the same family and kind; keep one.",
            )
        if rule.zone_kind is ZoneKind.NEVER_COATED:
            refuse(f"touch_ups[{number}].zone_kind", rule.zone_kind, "These parts are never coated; name another kind.")


def _check_seasons(terms: Terms, refuse: Refuse) -> None:
    for number, season in enumerate(terms.seasons):
        for end in ("first", "last"):
            month, day = getattr(season, f"{end}_month"), getattr(season, f"{end}_day")
            try:
                date(2023, month, day)  # a year without 29 February, since a season must exist in every year
            except ValueError:
                refuse(
                    f"seasons[{number}].{end}_day",
                    f"month {month}, day {day}",
                    "Write a month from 1 to 12 and a day that it has in every year.",
                )


def _check_severe(terms: Terms, refuse: Refuse) -> None:
    severe = terms.severe_exposure
    if severe is None:
        return
    if severe.reinspection_interval_months is None and severe.touch_up_interval_months is None:
        refuse("severe_exposure", severe.from_category, "Give at least one of the two shorter intervals.")
    for name in ("reinspection_interval_months", "touch_up_interval_months"):
        if getattr(severe, name) == 0:
            refuse(f"severe_exposure.{name}", getattr(severe, name), "Write at least 1 month.")
    usual = terms.reinspection.interval_months if terms.reinspection else None
    shorter = severe.reinspection_interval_months
    if shorter and usual is None:
        refuse(
            "severe_exposure.reinspection_interval_months",
            shorter,
            "These terms have no reinspection; leave it out, or add a reinspection table.",
        )
    if shorter and usual and shorter > usual:
        refuse(
            "severe_exposure.reinspection_interval_months",
            shorter,
            f"Longer than the usual {usual} months; severe exposure can only shorten an interval.",
        )
    _check_severe_touch_up(terms, severe.touch_up_interval_months, refuse)


def _check_severe_touch_up(terms: Terms, shorter: int | None, refuse: Refuse) -> None:
    if not shorter:
        return
    field = "severe_exposure.touch_up_interval_months"
    longest = max((rule.interval_months for rule in terms.touch_ups), default=None)
    before = (terms.reinspection or ReinspectionTerms()).window_before_days
    if longest is None:
        refuse(field, shorter, "These terms have no touch-ups; leave it out, or add a touch-up rule.")
    elif shorter > longest:
        refuse(field, shorter, f"Longer than every touch-up interval (at most {longest} months): it shortens nothing.")
    elif shorter * SHORTEST_MONTH_DAYS <= before:
        refuse(
            field,
            shorter,
            f"The window opens {before} days before, which is before the coat itself; lengthen the interval or "
            "shorten reinspection.window_before_days.",
        )


def _check_transfer(terms: Terms, refuse: Refuse) -> None:
    if terms.transfer.allowed:
        return
    for name in ("max_transfers", "notice_days"):
        if getattr(terms.transfer, name) is not None:
            refuse(
                f"transfer.{name}",
                getattr(terms.transfer, name),
                "It has no meaning where transfer.allowed is false; leave it out.",
            )


def _check_claims(terms: Terms, refuse: Refuse) -> None:
    claims = terms.claims
    if not claims.damage_covered:
        refuse("claims.damage_covered", "[]", "Name at least one kind of damage that is covered.")
    _check_repeats("claims.damage_covered", claims.damage_covered, refuse)
    _check_repeats("claims.excluded_zones", claims.excluded_zones, refuse)
    length = terms.length_months
    if length and claims.waiting_days >= length * SHORTEST_MONTH_DAYS:
        refuse(
            "claims.waiting_days", claims.waiting_days, f"As long as the cover of {length} months: nothing is covered."
        )
    if (
        claims.limit_per_claim is not None
        and claims.limit_in_all is not None
        and claims.limit_per_claim > claims.limit_in_all
    ):
        refuse(
            "claims.limit_per_claim",
            claims.limit_per_claim,
            f"More than limit_in_all, {claims.limit_in_all}; one claim can't be paid more than all of them.",
        )
    if claims.limit_per_claim is not None and claims.deductible >= claims.limit_per_claim > 0:
        refuse("claims.deductible", claims.deductible, "As much as limit_per_claim: nothing would ever be paid.")
    for name in ("deductible", "limit_per_claim", "limit_in_all", "second_person_above"):
        amount = getattr(claims, name)
        if amount is not None and amount != amount.quantize(Decimal("0.01")):
            refuse(f"claims.{name}", amount, "Write an amount of money with at most two decimals.")
    previous = ("", 0)
    for name in ("acknowledge_days", "inspect_days", "decide_days"):
        days = getattr(claims, name)
        if days is not None and days < previous[1]:
            refuse(f"claims.{name}", days, f"Less than {previous[0]}, {previous[1]}, which comes before it.")
        previous = (name, days) if days is not None else previous
    for zone in sorted(set(terms.entry.required_zones) & set(claims.excluded_zones)):
        refuse("claims.excluded_zones", zone, "entry.required_zones wants it done; a zone can't be both.")
    _check_pay_down(terms, refuse)


def _check_pay_down(terms: Terms, refuse: Refuse) -> None:
    last: PayDownStep | None = None
    for number, step in enumerate(terms.claims.pay_down):
        if step.percent > 100:
            refuse(f"claims.pay_down[{number}].percent", step.percent, "Write 0 to 100.")
        if last and (step.from_month <= last.from_month or step.percent > last.percent):
            refuse(
                f"claims.pay_down[{number}]",
                f"month {step.from_month}, {step.percent} %",
                "Steps must go up in months and never up in per cent.",
            )
        if terms.length_months and step.from_month > terms.length_months:
            refuse(
                f"claims.pay_down[{number}].from_month",
                step.from_month,
                f"The cover ends after {terms.length_months} months; this step is never reached.",
            )
        last = step
