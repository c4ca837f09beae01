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

from scheduling.terms.rules.terms import MissedMeans, PayDownStep, ReinspectionTerms, Terms, TermsProblem
from treatments.enums import ZoneKind
from treatments.rules.explanation import Explanation, explain

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


Refuse = Callable[[str, object, Explanation], None]


def find_contradictions(terms: Terms) -> list[TermsProblem]:
    """Return what in well-formed terms contradicts itself or can't be meant."""
    problems: list[TermsProblem] = []

    def refuse(field: str, value: object, explanation: Explanation) -> None:
        problems.append(TermsProblem(field, value if isinstance(value, Explanation) else str(value), explanation))

    for path, value in _walk_numbers(terms, ""):
        most = MOST_MONTHS if path.endswith(("_months", "_month")) else MOST_DAYS if path.endswith("_days") else None
        if most is not None and value > most:
            refuse(path, value, explain("terms.problem.longer_than_any_promise", most=most))
        elif value > MOST_NUMBER:
            refuse(path, value, explain("terms.problem.at_most", most=MOST_NUMBER))
    if problems:  # nothing can be counted with such numbers
        return problems
    _check_names(terms, refuse)
    if terms.length_months == 0:
        refuse("length_months", terms.length_months, explain("terms.problem.no_length"))
    if terms.distance_limit_km == 0:
        refuse("distance_limit_km", terms.distance_limit_km, explain("terms.problem.no_distance"))
    _check_entry(terms, refuse)
    _check_reinspection(terms, refuse)
    _check_touch_ups(terms, refuse)
    _check_seasons(terms, refuse)
    _check_severe(terms, refuse)
    _check_transfer(terms, refuse)
    _check_claims(terms, refuse)
    _check_texts(terms, refuse)
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
        refuse("code", repr(terms.code), explain("terms.problem.no_code"))
    if terms.version < 1:
        refuse("version", terms.version, explain("terms.problem.no_version"))
    if len(terms.title) > LONGEST_TITLE:
        refuse(
            "title",
            explain("terms.value.characters", count=len(terms.title)),
            explain("terms.problem.title_too_long", most=LONGEST_TITLE),
        )
    capitals = terms.currency.upper()
    if capitals not in list_currencies():
        refuse("currency", repr(terms.currency), explain("terms.problem.no_currency"))
    elif terms.currency != capitals:
        refuse("currency", repr(terms.currency), explain("terms.problem.no_capitals", capitals=capitals))


def _check_repeats(path: str, listed: tuple[str, ...], refuse: Refuse) -> None:
    for number, item in enumerate(listed):
        if item in listed[:number]:
            refuse(f"{path}[{number}]", str(item), explain("terms.problem.listed_twice"))


def _check_entry(terms: Terms, refuse: Refuse) -> None:
    rusted = terms.entry.max_rusted_area_percent
    if rusted is not None and rusted > 100:
        refuse("entry.max_rusted_area_percent", rusted, explain("terms.problem.no_percentage_or_unlimited"))
    _check_repeats("entry.required_zones", terms.entry.required_zones, refuse)


def _check_reinspection(terms: Terms, refuse: Refuse) -> None:
    duty = terms.reinspection
    if duty is None:
        return
    for name in ("first_after_months", "interval_months"):
        if getattr(duty, name) < 1:
            refuse(f"reinspection.{name}", getattr(duty, name), explain("terms.problem.no_month"))
    _check_window(terms, duty, refuse)
    reduces = duty.missed_means is MissedMeans.REDUCES
    if reduces and duty.reduced_to_percent is None:
        refuse(
            "reinspection.reduced_to_percent",
            explain("terms.value.missing"),
            explain("terms.problem.no_reduction", field="missed_means"),
        )
    if not reduces and duty.reduced_to_percent is not None:
        refuse(
            "reinspection.reduced_to_percent",
            duty.reduced_to_percent,
            explain("terms.problem.reduces_nothing", field="missed_means"),
        )
    if duty.reduced_to_percent is not None and duty.reduced_to_percent > 100:
        refuse("reinspection.reduced_to_percent", duty.reduced_to_percent, explain("terms.problem.no_percentage"))


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
    between = explain("terms.problem.interval", months=months, field=field)
    before, after, grace = duty.window_before_days, duty.window_after_days, duty.grace_days
    if duty.first_after_months >= 1 and duty.first_after_months * SHORTEST_MONTH_DAYS <= before <= room:
        refuse(
            "reinspection.window_before_days",
            before,
            explain(
                "terms.problem.window_before_first_treatment",
                field="first_after_months",
                months=duty.first_after_months,
                days=duty.first_after_months * SHORTEST_MONTH_DAYS - 1,
            ),
        )
    alone = [(name, days) for name, days in _name_window(duty) if days > room]
    for name, days in alone:
        refuse(
            f"reinspection.{name}",
            days,
            explain("terms.problem.window_too_long", interval=between, days=room),
        )
    if alone:
        return
    if before + after > room:
        name, days = max(_name_window(duty), key=lambda part: part[1])
        refuse(
            f"reinspection.{name}",
            days,
            explain("terms.problem.windows_overlap", before=before, after=after, interval=between, days=room),
        )
    elif before + after + grace > room:
        refuse(
            "reinspection.grace_days",
            grace,
            explain(
                "terms.problem.grace_too_long",
                before=before,
                after=after,
                interval=between,
                days=room - before - after,
            ),
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
            refuse(field, rule.interval_months, explain("terms.problem.no_month"))
        elif rule.interval_months * SHORTEST_MONTH_DAYS <= before:
            refuse(
                field,
                rule.interval_months,
                explain("terms.problem.window_before_coat", days=before, field="reinspection.window_before_days"),
            )
        if seen[number] in seen[:number]:
            family, kind = (str(part) if part else explain("terms.value.any") for part in seen[number])
            refuse(
                f"touch_ups[{number}]",
                explain("terms.value.touch_up", family=family, kind=kind),
                explain("terms.problem.rule_twice"),
            )
        if rule.zone_kind is ZoneKind.NEVER_COATED:
            refuse(f"touch_ups[{number}].zone_kind", rule.zone_kind, explain("terms.problem.kind_never_coated"))


def _check_seasons(terms: Terms, refuse: Refuse) -> None:
    for number, season in enumerate(terms.seasons):
        for end in ("first", "last"):
            month, day = getattr(season, f"{end}_month"), getattr(season, f"{end}_day")
            try:
                date(2023, month, day)  # a year without 29 February, since a season must exist in every year
            except ValueError:
                refuse(
                    f"seasons[{number}].{end}_day",
                    explain("terms.value.season_day", month=month, day=day),
                    explain("terms.problem.no_day_of_every_year"),
                )


def _check_texts(terms: Terms, refuse: Refuse) -> None:
    for number, texts in enumerate(terms.texts):
        if not LANGUAGE.fullmatch(texts.language):
            refuse(f"texts[{number}].language", repr(texts.language), explain("terms.problem.no_language"))
        elif texts.language in [earlier.language for earlier in terms.texts[:number]]:
            refuse(f"texts[{number}].language", texts.language, explain("terms.problem.listed_twice"))
        if len(texts.title) > LONGEST_TITLE:
            refuse(
                f"texts[{number}].title",
                explain("terms.value.characters", count=len(texts.title)),
                explain("terms.problem.title_too_long", most=LONGEST_TITLE),
            )


# ISO 639, as the first part of BCP 47 has it.
LANGUAGE = re.compile("[a-z]{2,3}")


def _check_severe(terms: Terms, refuse: Refuse) -> None:
    severe = terms.severe_exposure
    if severe is None:
        return
    if severe.reinspection_interval_months is None and severe.touch_up_interval_months is None:
        refuse("severe_exposure", severe.from_category, explain("terms.problem.nothing_shorter"))
    for name in ("reinspection_interval_months", "touch_up_interval_months"):
        if getattr(severe, name) == 0:
            refuse(f"severe_exposure.{name}", getattr(severe, name), explain("terms.problem.no_month"))
    usual = terms.reinspection.interval_months if terms.reinspection else None
    shorter = severe.reinspection_interval_months
    if shorter and usual is None:
        refuse(
            "severe_exposure.reinspection_interval_months",
            shorter,
            explain("terms.problem.no_reinspection"),
        )
    if shorter and usual and shorter > usual:
        refuse(
            "severe_exposure.reinspection_interval_months",
            shorter,
            explain("terms.problem.longer_than_usual", months=usual),
        )
    _check_severe_touch_up(terms, severe.touch_up_interval_months, refuse)


def _check_severe_touch_up(terms: Terms, shorter: int | None, refuse: Refuse) -> None:
    if not shorter:
        return
    field = "severe_exposure.touch_up_interval_months"
    longest = max((rule.interval_months for rule in terms.touch_ups), default=None)
    before = (terms.reinspection or ReinspectionTerms()).window_before_days
    if longest is None:
        refuse(field, shorter, explain("terms.problem.no_touch_ups"))
    elif shorter > longest:
        refuse(field, shorter, explain("terms.problem.shortens_nothing", months=longest))
    elif shorter * SHORTEST_MONTH_DAYS <= before:
        refuse(
            field,
            shorter,
            explain("terms.problem.window_before_coat", days=before, field="reinspection.window_before_days"),
        )


def _check_transfer(terms: Terms, refuse: Refuse) -> None:
    if terms.transfer.allowed:
        return
    for name in ("max_transfers", "notice_days"):
        if getattr(terms.transfer, name) is not None:
            refuse(
                f"transfer.{name}",
                getattr(terms.transfer, name),
                explain("terms.problem.no_transfer", field="transfer.allowed"),
            )


def _check_claims(terms: Terms, refuse: Refuse) -> None:
    claims = terms.claims
    if not claims.damage_covered:
        refuse("claims.damage_covered", "[]", explain("terms.problem.no_damage"))
    _check_repeats("claims.damage_covered", claims.damage_covered, refuse)
    _check_repeats("claims.excluded_zones", claims.excluded_zones, refuse)
    length = terms.length_months
    if length and claims.waiting_days >= length * SHORTEST_MONTH_DAYS:
        refuse("claims.waiting_days", claims.waiting_days, explain("terms.problem.waits_too_long", months=length))
    if (
        claims.limit_per_claim is not None
        and claims.limit_in_all is not None
        and claims.limit_per_claim > claims.limit_in_all
    ):
        refuse(
            "claims.limit_per_claim",
            claims.limit_per_claim,
            explain("terms.problem.more_than_all", field="limit_in_all", amount=claims.limit_in_all),
        )
    if claims.limit_per_claim is not None and claims.deductible >= claims.limit_per_claim > 0:
        refuse("claims.deductible", claims.deductible, explain("terms.problem.pays_nothing", field="limit_per_claim"))
    for name in ("deductible", "limit_per_claim", "limit_in_all", "second_person_above"):
        amount = getattr(claims, name)
        if amount is not None and amount != amount.quantize(Decimal("0.01")):
            refuse(f"claims.{name}", amount, explain("terms.problem.no_amount"))
    previous = ("", 0)
    for name in ("acknowledge_days", "inspect_days", "decide_days"):
        days = getattr(claims, name)
        if days is not None and days < previous[1]:
            refuse(
                f"claims.{name}",
                days,
                explain("terms.problem.before_earlier_step", field=previous[0], days=previous[1]),
            )
        previous = (name, days) if days is not None else previous
    for zone in sorted(set(terms.entry.required_zones) & set(claims.excluded_zones)):
        refuse(
            "claims.excluded_zones", zone, explain("terms.problem.required_and_excluded", field="entry.required_zones")
        )
    _check_pay_down(terms, refuse)


def _check_pay_down(terms: Terms, refuse: Refuse) -> None:
    last: PayDownStep | None = None
    for number, step in enumerate(terms.claims.pay_down):
        if step.percent > 100:
            refuse(f"claims.pay_down[{number}].percent", step.percent, explain("terms.problem.no_percentage"))
        if last and (step.from_month <= last.from_month or step.percent > last.percent):
            refuse(
                f"claims.pay_down[{number}]",
                explain("terms.value.step", month=step.from_month, percent=step.percent),
                explain("terms.problem.steps_out_of_order"),
            )
        if terms.length_months and step.from_month > terms.length_months:
            refuse(
                f"claims.pay_down[{number}].from_month",
                step.from_month,
                explain("terms.problem.step_never_reached", months=terms.length_months),
            )
        last = step
