"""How two checks of the same claim differ: what the claim comes to, zone by zone, and the rules that answer otherwise.

The checks are of the same records under two versions of terms.
"""

from collections import defaultdict
from dataclasses import dataclass

from claims.rules.claim import ClaimCheck, Finding
from treatments.enums import Answer, say


@dataclass(frozen=True, slots=True)
class FindingDifference:
    """A rule that would answer otherwise; None where it is not asked under those terms.

    Attributes:
        zone: the name of the claimed zone, '' for a rule about the claim as a whole.
        sentence: why it would answer so, or why it answers as it does now where it would not be asked.
    """

    rule: str
    zone: str
    question: str
    before: Answer | None
    after: Answer | None
    sentence: str


@dataclass(frozen=True, slots=True)
class ClaimDifference:
    """A claim that would come out differently, in all or in one of its rules."""

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
    def sentence(self) -> str:
        told = [f"Claim {self.number} {_OUTCOMES[self.before]} and {_WOULD[self.after]}."]
        if self.before is self.after:
            told = [f"Claim {self.number} {_OUTCOMES[self.before]}, now as then."]
        told += [
            f"{zone}: {_say(before)} becomes {_say(after)}."
            for zone, before, after in self.zones
            if before is not after
        ]
        told += [
            f"{finding.question}{f' ({finding.zone})' if finding.zone else ''} {_say(finding.before)} becomes "
            f"{_say(finding.after)}: {finding.sentence}"
            for finding in self.findings
        ]
        return " ".join(told)


_OUTCOMES = {
    Answer.HOLDS: "holds now",
    Answer.FAILS: "does not hold now",
    Answer.CANNOT_BE_TOLD: "cannot be told now",
}
_WOULD = {
    Answer.HOLDS: "would hold",
    Answer.FAILS: "would not hold",
    Answer.CANNOT_BE_TOLD: "could not be told",
}


def _say(answer: Answer | None) -> str:
    return f"“{say(answer)}”" if answer else "“not asked”"


def compare_checks(now: ClaimCheck, then: ClaimCheck) -> ClaimDifference | None:
    """Return how two checks of one claim differ, None where every rule answers alike."""
    names = {zone.zone: zone.name for zone in now.claim.zones}
    before, after = _group(now), _group(then)
    findings = []
    order = ["", *names]
    for key in sorted({*before, *after}, key=lambda key: (order.index(key[0]), key[1])):
        # A rule may speak more than once about a zone; its answers are compared in their order.
        for number in range(max(len(before[key]), len(after[key]))):
            pair = [listed[number] if number < len(listed) else None for listed in (before[key], after[key])]
            answers = [finding.answer if finding else None for finding in pair]
            if answers[0] is not answers[1]:
                told = pair[1] or pair[0]
                assert told is not None
                zone = names.get(key[0], "")
                findings.append(
                    FindingDifference(told.rule, zone, told.question, answers[0], answers[1], told.sentence)
                )
    if not findings:
        return None
    zones = tuple((zone.name, now.judge_zone(zone.zone), then.judge_zone(zone.zone)) for zone in now.claim.zones)
    return ClaimDifference(now.claim.number, now.answer, then.answer, zones, tuple(findings))


def _group(check: ClaimCheck) -> dict[tuple[str, str], list[Finding]]:
    grouped: dict[tuple[str, str], list[Finding]] = defaultdict(list)
    for finding in check.findings:
        grouped[finding.zone or "", finding.rule].append(finding)
    return grouped
