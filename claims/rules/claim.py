"""What a rust claim says and what a rule answers to it, as frozen values. The clauses of the terms that findings and
sums rest on, as people read them.
"""

from dataclasses import dataclass, replace
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from treatments.enums import Answer, DamageKind, ZoneKind
from treatments.rules.explanation import Explanation, explain


def explain_clause(clause: str) -> Explanation:
    """Return a clause of the terms as a person reads it."""
    return explain(f"clause.{clause}")


@dataclass(frozen=True, slots=True)
class ClaimedZone:
    """One zone on which rust is claimed; ``added_at`` is when it came into the catalogue, None for always there."""

    zone: str
    name: str
    kind: ZoneKind
    added_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class RustClaim:
    """A claim as reported; None where the claimant did not say.

    Attributes:
        discovered_on: the day on which the rust was found.
        reported_on: the day on which the shop was told.
        kilometres: the odometer when it was found.
    """

    number: str
    discovered_on: date | None
    reported_on: date
    damage: DamageKind
    zones: tuple[ClaimedZone, ...]
    kilometres: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Finding:
    """One rule applied to the claim or to one claimed zone.

    Attributes:
        rule: the rule's name.
        zone: the claimed zone's code, None for a rule about the claim as a whole.
        answer: holds, fails or cannot be told.
        explanations: why.
        records: the records that it rests on, e.g. "treatment 12".
        clause: the field of the terms that it applies, '' for none.
        shop_fell_short: whether a failure is the shop's own work and not the customer's doing.
    """

    rule: str
    zone: str | None
    answer: Answer
    explanations: tuple[Explanation, ...] = ()
    records: tuple[str, ...] = ()
    clause: str = ""
    shop_fell_short: bool = False

    @property
    def question(self) -> Explanation:
        """What the rule asks, as a person would."""
        return explain(f"question.{self.rule}")

    def with_reasons(self, *explanations: Explanation, **changed: Any) -> "Finding":
        """Return this finding with why, and with what else is changed about it."""
        return replace(self, explanations=explanations, **changed)


@dataclass(frozen=True, slots=True)
class ClaimCheck:
    """All findings of a claim and what follows from them for each zone. A person decides."""

    claim: RustClaim
    findings: tuple[Finding, ...]

    def list_findings(self, zone: str) -> tuple[Finding, ...]:
        """Return what speaks about one zone: its own findings and those about the claim as a whole."""
        return tuple(finding for finding in self.findings if finding.zone in (None, zone))

    def judge_zone(self, zone: str) -> Answer:
        """Return whether the claim holds for one zone.

        It fails where a rule fails that is not the shop's own shortfall, since a customer does not lose cover by
        work that the shop left undone; a shortfall is shown and a person weighs it.
        """
        answers = {f.answer for f in self.list_findings(zone) if not f.shop_fell_short}
        if Answer.FAILS in answers:
            return Answer.FAILS
        return Answer.CANNOT_BE_TOLD if Answer.CANNOT_BE_TOLD in answers else Answer.HOLDS

    @property
    def answer(self) -> Answer:
        """Return whether the claim as a whole holds: it fails only where no zone is left that may hold."""
        zones = [self.judge_zone(zone.zone) for zone in self.claim.zones]
        if Answer.HOLDS in zones and Answer.CANNOT_BE_TOLD not in zones:
            return Answer.HOLDS
        if Answer.CANNOT_BE_TOLD in zones or not zones:
            return Answer.CANNOT_BE_TOLD
        return Answer.FAILS

    @property
    def holds_in_part(self) -> bool:
        answers = {self.judge_zone(zone.zone) for zone in self.claim.zones}
        return Answer.HOLDS in answers and len(answers) > 1

    @property
    def shop_shortfalls(self) -> tuple[Finding, ...]:
        return tuple(finding for finding in self.findings if finding.shop_fell_short)
