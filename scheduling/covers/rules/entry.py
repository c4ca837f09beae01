"""Which vehicles may enter a cover, judged at the intake before the first treatment.

Rust that is already there keeps its zone outside the cover; what is not known is said to be unknown.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from dateutil.relativedelta import relativedelta

from scheduling.terms.rules.terms import Terms
from treatments.enums import Answer
from treatments.records.rules.history import InspectionRecord, TreatmentRecord

# An intake sees the vehicle as it will be treated; an older look may have missed a winter. Our own choice.
INTAKE_STANDS_FOR_DAYS = 90


@dataclass(frozen=True, slots=True)
class EntryAnswer:
    """One entry rule's answer with the sentence and the records that it rests on."""

    rule: str
    answer: Answer
    sentence: str
    records: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class IntakeReport:
    """May this vehicle enter, rule by rule, and which zones stay outside the cover because of rust found."""

    answers: tuple[EntryAnswer, ...]
    zones_outside: tuple[str, ...]

    @property
    def answer(self) -> Answer:
        given = {answer.answer for answer in self.answers}
        if Answer.FAILS in given:
            return Answer.FAILS
        return Answer.CANNOT_BE_TOLD if Answer.CANNOT_BE_TOLD in given else Answer.HOLDS


def find_zones_outside(intake: InspectionRecord | None) -> tuple[str, ...]:
    """Return the zones on which the intake found rust; they stay outside the cover."""
    if intake is None:
        return ()
    return tuple(seen.zone for seen in intake.zones if seen.perforated or seen.rusted_area_percent)


def check_entry(
    terms: Terms,
    *,
    treated_on: date,
    in_service_on: date | None,
    kilometres: Decimal | None,
    intake: InspectionRecord | None,
    first_treatment: TreatmentRecord | None,
    zones_out: Collection[str] = (),
) -> IntakeReport:
    """Judge a vehicle by the entry terms.

    Args:
        terms: the terms that it would enter.
        treated_on: the day of the first treatment, planned or done.
        in_service_on: when the vehicle was first used, None if not known.
        kilometres: the odometer on that day in km, None if not known.
        intake: the intake inspection, None if there was none.
        first_treatment: the treatment once done, for the zones that the terms want done; None before it.
        zones_out: the zones that nobody can coat, by a standing fact on record.
    """
    entry = terms.entry
    answers = [_check_intake(terms, intake, treated_on)]
    if entry.max_age_months is not None:
        answers.append(_check_age(entry.max_age_months, in_service_on, treated_on))
    if entry.max_distance_km is not None:
        answers.append(_check_distance(entry.max_distance_km, kilometres))
    if entry.max_rusted_area_percent is not None:
        answers.append(_check_rust(entry.max_rusted_area_percent, intake))
    if entry.required_zones and first_treatment is not None:
        settled = {*first_treatment.zones_applied, *zones_out}
        missing = [zone for zone in entry.required_zones if zone not in settled]
        answers.append(
            EntryAnswer(
                "required_zones",
                Answer.FAILS if missing else Answer.HOLDS,
                f"Not done at the first treatment: {', '.join(missing)}."
                if missing
                else _say_all_done(entry.required_zones, first_treatment),
                (first_treatment.record,),
            )
        )
    return IntakeReport(tuple(answers), find_zones_outside(intake))


def _say_all_done(required: Sequence[str], first_treatment: TreatmentRecord) -> str:
    out = [zone for zone in required if zone not in first_treatment.zones_applied]
    if not out:
        return "All zones that the terms want were done at the first treatment."
    left = ", ".join(out)
    return f"All zones that the terms want were done at the first treatment, except those not to be coated: {left}."


def _check_intake(terms: Terms, intake: InspectionRecord | None, treated_on: date) -> EntryAnswer:
    if intake is None:
        if not terms.entry.intake_inspection_required:
            return EntryAnswer("intake", Answer.HOLDS, "The terms do not ask for an intake inspection.")
        return EntryAnswer(
            "intake",
            Answer.CANNOT_BE_TOLD,
            "No intake inspection is recorded, so rust that was already there cannot be told from new rust.",
        )
    unseen = [z.zone for z in intake.zones if z.rusted_area_percent is None and not z.perforated]
    no_photo = [z.zone for z in intake.zones if z.rusted_area_percent and z.photos == 0]
    if intake.day > treated_on or intake.day < treated_on - timedelta(days=INTAKE_STANDS_FOR_DAYS):
        sentence = (
            f"The intake inspection is dated {intake.day}; it must be within {INTAKE_STANDS_FOR_DAYS} days "
            f"before the first treatment on {treated_on}."
        )
        return EntryAnswer("intake", Answer.FAILS, sentence, (intake.record,))
    if unseen:
        sentence = f"The intake inspection on {intake.day} gives no rusted area for: {', '.join(unseen)}."
        return EntryAnswer("intake", Answer.CANNOT_BE_TOLD, sentence, (intake.record,))
    note = f" No photo shows the rust on: {', '.join(no_photo)}." if no_photo else ""
    return EntryAnswer("intake", Answer.HOLDS, f"Inspected on {intake.day}.{note}", (intake.record,))


def _check_age(max_months: int, in_service_on: date | None, treated_on: date) -> EntryAnswer:
    if in_service_on is None:
        return EntryAnswer("age", Answer.CANNOT_BE_TOLD, "The day on which the vehicle was first used is not recorded.")
    if in_service_on > treated_on:
        sentence = (
            f"In service on {in_service_on}, after the first treatment on {treated_on}, which can't be; ask which day "
            "is right and correct the record."
        )
        return EntryAnswer("age", Answer.CANNOT_BE_TOLD, sentence)
    last_entry = in_service_on + relativedelta(months=max_months)
    holds = treated_on <= last_entry
    return EntryAnswer(
        "age",
        Answer.HOLDS if holds else Answer.FAILS,
        f"In service on {in_service_on}; the terms take vehicles up to {max_months} months old, "
        f"here until {last_entry}; treated on {treated_on}.",
    )


def _check_distance(max_km: Decimal, kilometres: Decimal | None) -> EntryAnswer:
    if kilometres is None:
        return EntryAnswer("distance", Answer.CANNOT_BE_TOLD, "No odometer reading is recorded at the first treatment.")
    return EntryAnswer(
        "distance",
        Answer.HOLDS if kilometres <= max_km else Answer.FAILS,
        f"The odometer stood at {kilometres:.0f} km; the terms take vehicles up to {max_km:.0f} km.",
    )


def _check_rust(max_percent: Decimal, intake: InspectionRecord | None) -> EntryAnswer:
    if intake is None:
        return EntryAnswer("rust", Answer.CANNOT_BE_TOLD, "No intake inspection graded the rust.")
    too_much = [
        f"{z.zone} ({z.rusted_area_percent} %)"
        for z in intake.zones
        if z.rusted_area_percent is not None and z.rusted_area_percent > max_percent
    ]
    perforated = [f"{z.zone} (perforated)" for z in intake.zones if z.perforated]
    found = too_much + perforated
    return EntryAnswer(
        "rust",
        Answer.FAILS if found else Answer.HOLDS,
        f"More rust than the {max_percent} % that the terms take: {', '.join(found)}."
        if found
        else f"No zone has more than {max_percent} % rusted area.",
        (intake.record,),
    )
