"""Which vehicles may enter a cover, judged at the intake before the first treatment.

Rust that is already there keeps its zone outside the cover; what is not known is said to be unknown.
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from dateutil.relativedelta import relativedelta

from scheduling.terms.rules.terms import Terms
from treatments.enums import Answer
from treatments.records.rules.history import InspectionRecord, TreatmentRecord
from treatments.rules.explanation import Explanation, ZoneCode, explain

# An intake sees the vehicle as it will be treated; an older look may have missed a winter. Our own choice.
INTAKE_STANDS_FOR_DAYS = 90


@dataclass(frozen=True, slots=True)
class EntryAnswer:
    """One entry rule's answer with what explains it and the records that it rests on."""

    rule: str
    answer: Answer
    explanations: tuple[Explanation, ...]
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
                (
                    explain("entry.required_zones.missing", zones=_name(missing))
                    if missing
                    else _explain_all_done(entry.required_zones, first_treatment),
                ),
                (first_treatment.record,),
            )
        )
    return IntakeReport(tuple(answers), find_zones_outside(intake))


def _explain_all_done(required: Sequence[str], first_treatment: TreatmentRecord) -> Explanation:
    out = [zone for zone in required if zone not in first_treatment.zones_applied]
    return (
        explain("entry.required_zones.done_except", zones=_name(out)) if out else explain("entry.required_zones.done")
    )


def _name(zones: Iterable[str]) -> tuple[ZoneCode, ...]:
    return tuple(map(ZoneCode, zones))


def _check_intake(terms: Terms, intake: InspectionRecord | None, treated_on: date) -> EntryAnswer:
    if intake is None:
        if not terms.entry.intake_inspection_required:
            return EntryAnswer("intake", Answer.HOLDS, (explain("entry.intake.not_asked"),))
        return EntryAnswer("intake", Answer.CANNOT_BE_TOLD, (explain("entry.intake.none"),))
    unseen = [z.zone for z in intake.zones if z.rusted_area_percent is None and not z.perforated]
    no_photo = [z.zone for z in intake.zones if z.rusted_area_percent and z.photos == 0]
    if intake.day > treated_on or intake.day < treated_on - timedelta(days=INTAKE_STANDS_FOR_DAYS):
        told = explain(
            "entry.intake.other_day", inspected_on=intake.day, days=INTAKE_STANDS_FOR_DAYS, treated_on=treated_on
        )
        return EntryAnswer("intake", Answer.FAILS, (told,), (intake.record,))
    if unseen:
        told = explain("entry.intake.not_measured", inspected_on=intake.day, zones=_name(unseen))
        return EntryAnswer("intake", Answer.CANNOT_BE_TOLD, (told,), (intake.record,))
    note = (explain("entry.intake.no_photo", zones=_name(no_photo)),) if no_photo else ()
    inspected = explain("entry.intake.inspected", inspected_on=intake.day)
    return EntryAnswer("intake", Answer.HOLDS, (inspected, *note), (intake.record,))


def _check_age(max_months: int, in_service_on: date | None, treated_on: date) -> EntryAnswer:
    if in_service_on is None:
        return EntryAnswer("age", Answer.CANNOT_BE_TOLD, (explain("entry.age.not_recorded"),))
    if in_service_on > treated_on:
        told = explain("entry.age.in_service_later", in_service_on=in_service_on, treated_on=treated_on)
        return EntryAnswer("age", Answer.CANNOT_BE_TOLD, (told,))
    last_entry = in_service_on + relativedelta(months=max_months)
    holds = treated_on <= last_entry
    told = explain(
        "entry.age",
        in_service_on=in_service_on,
        months=max_months,
        last_entry_on=last_entry,
        treated_on=treated_on,
    )
    return EntryAnswer("age", Answer.HOLDS if holds else Answer.FAILS, (told,))


def _check_distance(max_km: Decimal, kilometres: Decimal | None) -> EntryAnswer:
    if kilometres is None:
        return EntryAnswer("distance", Answer.CANNOT_BE_TOLD, (explain("entry.distance.not_recorded"),))
    told = explain("entry.distance", kilometres=round(kilometres), most_kilometres=round(max_km))
    return EntryAnswer("distance", Answer.HOLDS if kilometres <= max_km else Answer.FAILS, (told,))


def _check_rust(max_percent: Decimal, intake: InspectionRecord | None) -> EntryAnswer:
    if intake is None:
        return EntryAnswer("rust", Answer.CANNOT_BE_TOLD, (explain("entry.rust.not_graded"),))
    too_much = [
        explain("entry.rust.zone", zone=ZoneCode(z.zone), percent=z.rusted_area_percent)
        for z in intake.zones
        if z.rusted_area_percent is not None and z.rusted_area_percent > max_percent
    ]
    perforated = [explain("entry.rust.perforated", zone=ZoneCode(z.zone)) for z in intake.zones if z.perforated]
    found = (*too_much, *perforated)
    if found:
        told = explain("entry.rust.too_much", percent=max_percent, zones=found)
        return EntryAnswer("rust", Answer.FAILS, (told,), (intake.record,))
    return EntryAnswer("rust", Answer.HOLDS, (explain("entry.rust", percent=max_percent),), (intake.record,))
