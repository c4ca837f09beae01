"""What warranty terms can say, as one frozen value, read from a document with errors that name the field. What is
wrong with a document of terms, as values that name the field, so that a file and a form can both tell it.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum

from treatments.enums import CorrosivityCategory, DamageKind, ProductFamily, ZoneKind
from treatments.rules.explanation import Explanation


class Anchor(StrEnum):
    """From what a reinspection interval is counted."""

    ANNIVERSARY = "anniversary"
    LAST_VISIT = "last_visit"


class Roll(StrEnum):
    """What happens to a day of duty that falls on a day on which the site is closed."""

    NEXT_OPEN_DAY = "next_open_day"
    STAY = "stay"


class MissedMeans(StrEnum):
    """What a missed reinspection does to the cover."""

    NOTHING = "nothing"
    SUSPENDS = "suspends"
    LAPSES = "lapses"
    REDUCES = "reduces"


class DistanceFrom(StrEnum):
    """Whether a distance limit is the figure on the odometer or the distance since the first treatment."""

    ODOMETER = "odometer"
    FIRST_TREATMENT = "first_treatment"


@dataclass(frozen=True, slots=True)
class EntryTerms:
    """Which vehicles may enter. None means no limit."""

    max_age_months: int | None = None
    max_distance_km: Decimal | None = None
    max_rusted_area_percent: Decimal | None = None
    required_zones: tuple[str, ...] = ()
    intake_inspection_required: bool = True


@dataclass(frozen=True, slots=True)
class ReinspectionTerms:
    """When a vehicle must be looked at again, in months and days."""

    first_after_months: int = 12
    interval_months: int = 12
    anchor: Anchor = Anchor.ANNIVERSARY
    window_before_days: int = 60
    window_after_days: int = 0
    grace_days: int = 30
    missed_means: MissedMeans = MissedMeans.SUSPENDS
    reduced_to_percent: Decimal | None = None


@dataclass(frozen=True, slots=True)
class TouchUpTerms:
    """How often the film of a product family on a kind of zone is renewed. None means any family or any kind."""

    interval_months: int
    family: ProductFamily | None = None
    zone_kind: ZoneKind | None = None


@dataclass(frozen=True, slots=True)
class SevereExposureTerms:
    """Shorter intervals where the place of use is at least this corrosive (ISO 9223)."""

    from_category: CorrosivityCategory
    reinspection_interval_months: int | None = None
    touch_up_interval_months: int | None = None


@dataclass(frozen=True, slots=True)
class SeasonTerms:
    """A part of the year in which work is preferred, as month and day, both included; may run over New Year."""

    first_month: int
    first_day: int
    last_month: int
    last_day: int


@dataclass(frozen=True, slots=True)
class TransferTerms:
    """Whether cover follows the vehicle to a new owner."""

    allowed: bool = True
    max_transfers: int | None = None
    notice_days: int | None = None


@dataclass(frozen=True, slots=True)
class PayDownStep:
    """From this age of the cover on, in whole months, only this part of the allowed cost is paid."""

    from_month: int
    percent: Decimal


@dataclass(frozen=True, slots=True)
class ClaimTerms:
    """What is paid, how much of it, and what either side must do in time. Money is in the terms' currency.

    Attributes:
        notice_days: calendar days from discovery to report.
        acknowledge_days, inspect_days, decide_days: open days of the site after the report; None sets no deadline.
        second_person_above: a decision to pay more than this needs a second person; None never asks for one.
    """

    damage_covered: tuple[DamageKind, ...] = (DamageKind.PERFORATION_FROM_WITHIN,)
    exclusions: tuple[str, ...] = ()
    excluded_zones: tuple[str, ...] = ()
    waiting_days: int = 0
    notice_days: int | None = None
    deductible: Decimal = Decimal(0)
    limit_per_claim: Decimal | None = None
    limit_in_all: Decimal | None = None
    pay_down: tuple[PayDownStep, ...] = ()
    acknowledge_days: int | None = None
    inspect_days: int | None = None
    decide_days: int | None = None
    second_person_above: Decimal | None = None


@dataclass(frozen=True, slots=True)
class TermsTexts:
    """The texts of the terms in one more language (a code such as "fr"); the rest says the same in any language."""

    language: str
    title: str
    exclusions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Terms:
    """One version of warranty terms, whole."""

    code: str
    version: int
    title: str
    currency: str = "USD"
    length_months: int | None = None
    distance_limit_km: Decimal | None = None
    distance_from: DistanceFrom = DistanceFrom.ODOMETER
    registration_deadline_days: int | None = None
    roll: Roll = Roll.NEXT_OPEN_DAY
    entry: EntryTerms = field(default_factory=EntryTerms)
    reinspection: ReinspectionTerms | None = field(default_factory=ReinspectionTerms)
    touch_ups: tuple[TouchUpTerms, ...] = ()
    severe_exposure: SevereExposureTerms | None = None
    seasons: tuple[SeasonTerms, ...] = ()
    transfer: TransferTerms = field(default_factory=TransferTerms)
    claims: ClaimTerms = field(default_factory=ClaimTerms)
    texts: tuple[TermsTexts, ...] = ()

    def find_title(self, language: str) -> str:
        """Return the title in a language, as it was first written where there is none in it."""
        return next((texts.title for texts in self.texts if texts.language == language), self.title)

    def find_exclusions(self, language: str) -> tuple[str, ...]:
        """Return the exclusions in words in a language, as they were first written where that has not all of them."""
        found = next((texts.exclusions for texts in self.texts if texts.language == language), ())
        return found if len(found) == len(self.claims.exclusions) else self.claims.exclusions

    def list_languages_without_texts(self, languages: Iterable[str]) -> tuple[str, ...]:
        """Return those of some languages in which the title or an exclusion is missing."""
        whole = {texts.language for texts in self.texts if len(texts.exclusions) == len(self.claims.exclusions)}
        return tuple(language for language in languages if language not in whole)


@dataclass(frozen=True, slots=True)
class TermsProblem:
    """One thing wrong with a terms document: the field's path, the value given, and the way out.

    A parameter that is the name of another field stands as it is in a file; a form puts its label there.
    """

    field: str
    value: str | Explanation
    explanation: Explanation


class TermsError(ValueError):
    """A terms document that can't be used; ``problems`` lists everything wrong with it, not only the first."""

    def __init__(self, problems: list[TermsProblem]) -> None:
        self.problems = tuple(problems)
        super().__init__("; ".join(f"{p.field} = {p.value}: {p.explanation.code}" for p in problems))
