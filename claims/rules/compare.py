"""How two checks of the same claim differ: what the claim comes to, zone by zone, and the rules that answer otherwise.
Changes of fact to be tried out on a claim: a visit on another day, a zone that was treated, a visit more.
"""

from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date

from claims.rules.claim import ClaimCheck, Finding, RustClaim
from treatments.enums import Answer, InspectionKind, ProductFamily
from treatments.records.rules.history import InspectionRecord, TreatmentRecord, VehicleHistory, ZoneLine
from treatments.rules.explanation import Explanation, Label, ZoneCode, explain

Change = Callable[[RustClaim, VehicleHistory], tuple[RustClaim, VehicleHistory]]


class WhatIfError(ValueError):
    """A change that can't be made; the explanation names what there is."""

    def __init__(self, explanation: Explanation) -> None:
        super().__init__(explanation.code)
        self.explanation = explanation


def _refuse_record(record: str, known: list[str]) -> WhatIfError:
    if not known:
        return WhatIfError(explain("what_if.no_records", record=record))
    return WhatIfError(explain("what_if.no_such_record", record=record, known=tuple(known)))


def move_record(record: str, to_day: date) -> Change:
    """Return the change that lets a treatment or inspection have been on another day.

    Raises (when it is applied):
        WhatIfError: where there is no such record.
    """

    def change(claim: RustClaim, history: VehicleHistory) -> tuple[RustClaim, VehicleHistory]:
        known = [t.record for t in history.current_treatments] + [i.record for i in history.current_inspections]
        if record not in known:
            raise _refuse_record(record, known)
        return claim, replace(
            history,
            treatments=tuple(replace(t, day=to_day) if t.record == record else t for t in history.current_treatments),
            inspections=tuple(replace(i, day=to_day) if i.record == record else i for i in history.current_inspections),
        )

    return change


def add_visit(day: date) -> Change:
    """Return the change that lets a reinspection have been made on a day."""

    def change(claim: RustClaim, history: VehicleHistory) -> tuple[RustClaim, VehicleHistory]:
        zones = frozenset(line.zone for treatment in history.treatments for line in treatment.lines)
        visit = InspectionRecord("supposed visit", day, InspectionKind.REINSPECTION, answered=zones)
        return claim, replace(history, inspections=(*history.inspections, visit))

    return change


def treat_zone(zone: str, record: str, family: ProductFamily) -> Change:
    """Return the change that lets a claimed zone have been coated in a recorded treatment."""

    def change(claim: RustClaim, history: VehicleHistory) -> tuple[RustClaim, VehicleHistory]:
        claimed = next((found for found in claim.zones if found.zone == zone), None)
        if claimed is None:
            claimed_zones = tuple(ZoneCode(one.zone) for one in claim.zones)
            raise WhatIfError(explain("what_if.not_claimed", zone=ZoneCode(zone), claimed=claimed_zones))
        known = [treatment.record for treatment in history.current_treatments]
        if record not in known:
            raise _refuse_record(record, known)
        line = ZoneLine(zone, claimed.name, claimed.kind, family, "supposed product")

        def coat(treatment: TreatmentRecord) -> TreatmentRecord:
            kept = tuple(found for found in treatment.lines if found.zone != zone or found.applied)
            return replace(treatment, lines=(*kept, line)) if treatment.record == record else treatment

        return claim, replace(history, treatments=tuple(coat(t) for t in history.current_treatments))

    return change


def discover_on(day: date) -> Change:
    """Return the change that lets the rust have been found on another day."""

    def change(claim: RustClaim, history: VehicleHistory) -> tuple[RustClaim, VehicleHistory]:
        return replace(claim, discovered_on=day), history

    return change


@dataclass(frozen=True, slots=True)
class FindingDifference:
    """A rule that would answer otherwise; None where it is not asked under those terms.

    Attributes:
        zone: the code of the claimed zone, None for a rule about the claim as a whole.
        explanations: why it would answer so, or why it answers as it does now where it would not be asked.
    """

    rule: str
    zone: str | None
    question: Explanation
    before: Answer | None
    after: Answer | None
    explanations: tuple[Explanation, ...]


@dataclass(frozen=True, slots=True)
class ClaimDifference:
    """A claim that would come out differently, in all or in one of its rules; ``zones`` are told by their codes."""

    number: str
    before: Answer
    after: Answer
    zones: tuple[tuple[str, Answer, Answer], ...]
    findings: tuple[FindingDifference, ...]

    @property
    def comes_out_differently(self) -> bool:
        """Whether the claim, or one of its zones, would be judged otherwise."""
        return self.before is not self.after or any(before is not after for _, before, after in self.zones)

    @property
    def explanations(self) -> tuple[Explanation, ...]:
        """What the claim comes to, then each zone and each rule that turns."""
        number, now = self.number, explain(f"difference.now.{self.before}")
        would = explain(f"difference.would.{self.after}")
        turns = explain("difference.claim_turns", claim=number, now=now, would=would)
        if self.before is self.after:
            turns = explain("difference.claim_stays", claim=number, now=now)
        told = [turns]
        for zone, before, after in self.zones:
            if before is not after:
                told.append(explain("difference.zone", zone=ZoneCode(zone), before=_quote(before), after=_quote(after)))
        for finding in self.findings:
            turned = {"question": finding.question, "before": _quote(finding.before), "after": _quote(finding.after)}
            if finding.zone:
                told.append(explain("difference.rule_of_zone", zone=ZoneCode(finding.zone), **turned))
            else:
                told.append(explain("difference.rule", **turned))
            told += finding.explanations
        return tuple(told)


def _quote(answer: Answer | None) -> Explanation:
    return explain("difference.answer", answer=Label(answer)) if answer else explain("difference.not_asked")


def compare_checks(now: ClaimCheck, then: ClaimCheck) -> ClaimDifference | None:
    """Return how two checks of one claim differ, None where every rule answers alike."""
    before, after = _group(now), _group(then)
    findings = []
    order = ["", *(zone.zone for zone in now.claim.zones)]
    for key in sorted({*before, *after}, key=lambda key: (order.index(key[0]), key[1])):
        # A rule may speak more than once about a zone; its answers are compared in their order.
        for number in range(max(len(before[key]), len(after[key]))):
            pair = [listed[number] if number < len(listed) else None for listed in (before[key], after[key])]
            answers = [finding.answer if finding else None for finding in pair]
            if answers[0] is not answers[1]:
                told = pair[1] or pair[0]
                assert told is not None
                findings.append(
                    FindingDifference(told.rule, told.zone, told.question, answers[0], answers[1], told.explanations)
                )
    if not findings:
        return None
    zones = tuple((zone.zone, now.judge_zone(zone.zone), then.judge_zone(zone.zone)) for zone in now.claim.zones)
    return ClaimDifference(now.claim.number, now.answer, then.answer, zones, tuple(findings))


def _group(check: ClaimCheck) -> dict[tuple[str, str], list[Finding]]:
    grouped: dict[tuple[str, str], list[Finding]] = defaultdict(list)
    for finding in check.findings:
        grouped[finding.zone or "", finding.rule].append(finding)
    return grouped
