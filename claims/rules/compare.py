"""How two checks of the same claim differ: what the claim comes to, zone by zone, and the rules that answer otherwise.

The checks are of the same records under two versions of terms.
"""

from collections import defaultdict
from dataclasses import dataclass

from claims.rules.claim import ClaimCheck, Finding
from treatments.enums import Answer
from treatments.rules.explanation import Explanation, Label, ZoneCode, explain


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
