"""Reads warranty terms from a document (TOML or JSON) and writes them back, with errors that name the field.

The frozen dataclasses of terms.py are the only list of fields; this module walks them, then checks what contradicts.
"""

import types
import typing
from collections.abc import Mapping
from dataclasses import MISSING, dataclass, fields, is_dataclass
from datetime import date
from decimal import Decimal, InvalidOperation
from enum import StrEnum
from typing import Any, get_args, get_origin, get_type_hints

from scheduling.rules.terms import MissedMeans, PayDownStep, Terms


@dataclass(frozen=True, slots=True)
class TermsProblem:
    """One thing wrong with a terms document: the field's path, the value given, and the way out."""

    field: str
    value: str
    sentence: str


class TermsError(ValueError):
    """A terms document that can't be used; ``problems`` lists everything wrong with it, not only the first."""

    def __init__(self, problems: list[TermsProblem]) -> None:
        self.problems = tuple(problems)
        super().__init__("; ".join(f"{p.field} = {p.value}: {p.sentence}" for p in problems))


def read_terms(document: Mapping[str, Any]) -> Terms:
    """Return the terms that the document states.

    Args:
        document: the parsed document; its keys are the fields of ``Terms``, nested ones are tables. Unlimited or
            unset is said by leaving a key out.

    Raises:
        TermsError: with every problem found.
    """
    problems: list[TermsProblem] = []
    terms = _read_table(Terms, document, "", problems)
    if not problems:
        assert isinstance(terms, Terms)
        problems = find_contradictions(terms)
        if not problems:
            return terms
    raise TermsError(problems)


def write_terms(terms: Terms) -> dict[str, Any]:
    """Return the terms as a document of plain values that ``read_terms`` reads back to equal terms."""
    return typing.cast(dict[str, Any], _write(terms))


def _write(value: Any) -> Any:
    if is_dataclass(value) and not isinstance(value, type):
        written = {f.name: _write(getattr(value, f.name)) for f in fields(value)}
        return {name: item for name, item in written.items() if item is not None}
    if isinstance(value, tuple):
        return [_write(item) for item in value]
    if isinstance(value, StrEnum):
        return value.value
    if isinstance(value, Decimal):
        return str(value)
    return value


def _read_table(kind: type[Any], document: Any, path: str, problems: list[TermsProblem]) -> Any:
    if not isinstance(document, Mapping):
        problems.append(TermsProblem(path or "terms", repr(document), "Write a table of fields here."))
        return None
    hints = get_type_hints(kind)
    known = {field.name: field for field in fields(kind)}
    for name in document:
        if name not in known:
            allowed = ", ".join(known)
            problems.append(
                TermsProblem(f"{path}{name}", repr(document[name]), f"No such field; there are: {allowed}.")
            )
    values: dict[str, Any] = {}
    before = len(problems)
    for name, field in known.items():
        if name in document:
            values[name] = _read_value(hints[name], document[name], f"{path}{name}", problems)
        elif name == "reinspection" and kind is Terms:
            values[name] = None  # no table means no reinspections
        elif field.default is MISSING and field.default_factory is MISSING:
            problems.append(TermsProblem(f"{path}{name}", "missing", "This field is needed; add it."))
    return kind(**values) if len(problems) == before else None


def _read_value(hint: Any, value: Any, path: str, problems: list[TermsProblem]) -> Any:
    if get_origin(hint) is types.UnionType:
        (inner,) = (part for part in get_args(hint) if part is not type(None))
        return None if value is None else _read_value(inner, value, path, problems)
    if get_origin(hint) is tuple:
        if not isinstance(value, list | tuple):
            problems.append(TermsProblem(path, repr(value), "Write a list here, e.g. [ … ]."))
            return ()
        inner = get_args(hint)[0]
        return tuple(_read_value(inner, item, f"{path}[{number}]", problems) for number, item in enumerate(value))
    if is_dataclass(hint):
        return _read_table(typing.cast(type[Any], hint), value, f"{path}.", problems)
    if isinstance(hint, type) and issubclass(hint, StrEnum):
        try:
            return hint(value)
        except ValueError:
            allowed = ", ".join(hint)
            problems.append(TermsProblem(path, repr(value), f"Write one of: {allowed}."))
            return None
    return _read_scalar(hint, value, path, problems)


def _read_scalar(hint: Any, value: Any, path: str, problems: list[TermsProblem]) -> Any:
    if hint is bool:
        if isinstance(value, bool):
            return value
        problems.append(TermsProblem(path, repr(value), "Write true or false."))
    elif hint is int:
        if isinstance(value, int) and not isinstance(value, bool) and value >= 0:
            return value
        problems.append(TermsProblem(path, repr(value), "Write a whole number, 0 or more."))
    elif hint is Decimal:
        try:
            number = Decimal(str(value)) if not isinstance(value, bool) else Decimal("NaN")
        except InvalidOperation:
            number = Decimal("NaN")
        if number.is_finite() and number >= 0:
            return number
        problems.append(TermsProblem(path, repr(value), "Write a number, 0 or more, such as 250 or '250.00'."))
    elif hint is str:
        if isinstance(value, str) and value.strip():
            return value
        problems.append(TermsProblem(path, repr(value), "Write some text in quotes."))
    else:  # pragma: no cover - a field of a type that this reader does not know is a mistake in terms.py
        raise TypeError(f"{path}: no reader for {hint}")
    return None


# Between the last day of grace of one reinspection and the opening of the next there must be room for closed days.
LEAST_DAYS_BETWEEN_WINDOWS = 14
SHORTEST_MONTH_DAYS = 28


def find_contradictions(terms: Terms) -> list[TermsProblem]:
    """Return what in well-formed terms contradicts itself or can't be meant."""
    problems: list[TermsProblem] = []

    def refuse(field: str, value: object, sentence: str) -> None:
        problems.append(TermsProblem(field, str(value), sentence))

    if terms.version < 1:
        refuse("version", terms.version, "Versions count from 1.")
    if len(terms.currency) != 3 or not terms.currency.isalpha() or not terms.currency.isupper():
        refuse("currency", terms.currency, "Write an ISO 4217 code such as USD or CAD.")
    if terms.length_months == 0:
        refuse("length_months", 0, "Leave it out for an unlimited cover, or write at least 1.")
    if terms.distance_limit_km == 0:
        refuse("distance_limit_km", 0, "Leave it out for no limit, or write more than 0.")
    _check_reinspection(terms, refuse)
    for number, rule in enumerate(terms.touch_ups):
        if rule.interval_months < 1:
            refuse(f"touch_ups[{number}].interval_months", rule.interval_months, "Write at least 1 month.")
    seen = [(rule.family, rule.zone_kind) for rule in terms.touch_ups]
    for number, pair in enumerate(seen):
        if pair in seen[:number]:
            refuse(f"touch_ups[{number}]", pair, "An earlier rule is for the same family and kind; keep one.")
    _check_seasons(terms, refuse)
    _check_severe(terms, refuse)
    _check_claims(terms, refuse)
    return problems


Refuse = typing.Callable[[str, object, str], None]


def _check_reinspection(terms: Terms, refuse: Refuse) -> None:
    duty = terms.reinspection
    if duty is None:
        return
    for name in ("first_after_months", "interval_months"):
        if getattr(duty, name) < 1:
            refuse(f"reinspection.{name}", getattr(duty, name), "Write at least 1 month.")
    shortest = min(duty.first_after_months, duty.interval_months)
    severe = terms.severe_exposure
    if severe and severe.reinspection_interval_months:
        shortest = min(shortest, severe.reinspection_interval_months)
    room = shortest * SHORTEST_MONTH_DAYS - LEAST_DAYS_BETWEEN_WINDOWS
    whole = duty.window_before_days + duty.window_after_days + duty.grace_days
    if shortest >= 1 and whole > room:
        refuse(
            "reinspection.window_before_days",
            f"{duty.window_before_days} (+ {duty.window_after_days} after + {duty.grace_days} grace)",
            f"Window and grace together must not be longer than {room} days, or two reinspections overlap; "
            "shorten the window or lengthen the interval.",
        )
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
            refuse(f"severe_exposure.{name}", 0, "Write at least 1 month.")
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


def _check_claims(terms: Terms, refuse: Refuse) -> None:
    claims = terms.claims
    if not claims.damage_covered:
        refuse("claims.damage_covered", "[]", "Name at least one kind of damage that is covered.")
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
    last: PayDownStep | None = None
    for number, step in enumerate(claims.pay_down):
        if step.percent > 100:
            refuse(f"claims.pay_down[{number}].percent", step.percent, "Write 0 to 100.")
        if last and (step.from_month <= last.from_month or step.percent > last.percent):
            refuse(
                f"claims.pay_down[{number}]",
                f"month {step.from_month}, {step.percent} %",
                "Steps must go up in months and never up in per cent.",
            )
        last = step
