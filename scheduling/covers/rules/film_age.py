"""How old the film on each zone is on a day, against the touch-up interval that the terms set for it.

Fresh, ageing and due are steps of our own to look at; when somebody must come is said by the due items alone.
"""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from scheduling.covers.rules.dates import USUAL_DUTY, add_months
from scheduling.covers.rules.exposure import RawDay, count_from, list_exposure_runs
from scheduling.covers.rules.facts import CoverFacts
from scheduling.covers.rules.touch_ups import find_touch_up_terms
from scheduling.terms.rules.terms import Terms
from treatments.enums import ProductFamily
from treatments.records.rules.history import VehicleHistory, ZoneLine
from treatments.vehicles.rules.standing_facts import find_zones_out


class FilmStage(StrEnum):
    """How far a film is on its way to the next touch-up."""

    FRESH = "fresh"
    AGEING = "ageing"
    DUE = "due"
    NO_INTERVAL = "no_interval"
    NOT_COATED = "not_coated"


@dataclass(frozen=True, slots=True)
class FilmAge:
    """The film of one zone that is to be renewed first.

    Attributes:
        months: whole calendar months since its coat.
        interval_months: the touch-up interval of the terms, None where they set none for it or there is no cover.
        due_on: the day on which the interval is over, before it is moved to an open day or into a season.
    """

    zone: str
    stage: FilmStage
    coated_on: date
    months: int
    family: ProductFamily
    product: str
    lot: str | None = None
    interval_months: int | None = None
    due_on: date | None = None


def count_whole_months(first: date, last: date) -> int:
    """Return how many calendar months are over between two days, the first not after the last.

    A month is over on the day that ``add_months`` gives, so that a film of 12 months is 12 months old when it is due.
    """
    months = (last.year - first.year) * 12 + last.month - first.month
    return months if add_months(first, months) <= last else months - 1


def judge_film(coated_on: date, interval: RawDay | None, as_of: date) -> FilmStage:
    """Return the stage of a film, None for the interval where the terms set none.

    It is ageing from half of the interval on (our own choice), and due from the day on which the interval is over.
    """
    if interval is None:
        return FilmStage.NO_INTERVAL
    if as_of >= interval.day:
        return FilmStage.DUE
    ageing = 2 * count_whole_months(coated_on, as_of) >= interval.months
    return FilmStage.AGEING if ageing else FilmStage.FRESH


def compute_film_ages(
    history: VehicleHistory, as_of: date, *, terms: Terms | None = None, facts: CoverFacts | None = None
) -> dict[str, FilmAge]:
    """Return the film of each coated zone on ``as_of``, by zone code.

    A zone may carry films of several families, each with an interval of its own; the one that is due first is told,
    and where no interval is set the latest coat.

    Args:
        history: the vehicle's records; what is dated after ``as_of`` is left out.
        terms: the version of terms that the cover is under on that day, None without a cover.
        facts: what was agreed about the cover, for the place of use.
    """
    coats: dict[tuple[str, ProductFamily], tuple[date, ZoneLine]] = {}
    past = history.until(as_of)
    zones_out = find_zones_out(past.facts, as_of)
    for treatment in past.current_treatments:
        for line in treatment.lines:
            if line.family is not None:
                coats[line.zone, line.family] = (treatment.day, line)
    found: dict[str, FilmAge] = {}
    for (zone, family), (day, line) in coats.items():
        interval = _find_interval(terms, facts, day, line, as_of) if terms and zone not in zones_out else None
        film = FilmAge(
            zone,
            judge_film(day, interval, as_of),
            day,
            count_whole_months(day, as_of),
            family,
            line.product or "",
            line.lot,
            interval.months if interval else None,
            interval.day if interval else None,
        )
        known = found.get(zone)
        if known is None or _is_more_pressing(film, known):
            found[zone] = film
    return found


def _find_interval(terms: Terms, facts: CoverFacts | None, day: date, line: ZoneLine, as_of: date) -> RawDay | None:
    """Return when the touch-up interval of a coat is over by the place of use on ``as_of``, None without a rule."""
    rule = find_touch_up_terms(terms, line.family, line.zone_kind)
    if rule is None:
        return None
    usual = rule.interval_months
    if facts is None or terms.severe_exposure is None:
        return RawDay(add_months(day, usual), usual)
    shorter = min(usual, terms.severe_exposure.touch_up_interval_months or usual)
    window_days = (terms.reinspection or USUAL_DUTY).window_before_days
    return count_from(day, usual, shorter, list_exposure_runs(terms, facts, as_of)[-1], window_days)


def _is_more_pressing(film: FilmAge, than: FilmAge) -> bool:
    if film.due_on is None or than.due_on is None:
        return film.due_on is not None or (than.due_on is None and film.coated_on > than.coated_on)
    return film.due_on < than.due_on
