"""The letter about a decision, in plain words: what was decided, under which clause, on which facts, how to object.

Text only, so that it can be read before it goes and kept as it went.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from claims.rules.claim import ClaimCheck, Finding
from claims.rules.clauses import say_clause
from claims.rules.recommend import Outcome, Recommendation
from treatments.enums import Answer, say
from treatments.rules.formats import format_money_in
from treatments.rules.money import Money
from treatments.rules.speaking import ENGLISH, speak
from treatments.rules.wording import put_for_people, tell_day, tell_verification_code

LAW = (
    "Consumer law may give you rights beyond these terms, and they vary from place to place (in the United States see "
    "15 U.S.C. 2301 ff. and 16 CFR 700-703). This letter does not take any of them away."
)


TOLD_WHEN_PAID = ("in_force", "damage_covered", "reported_in_time", "reinspections", "treated")


@dataclass(frozen=True, slots=True)
class LetterFacts:
    """Who writes to whom about what.

    ``zone_names`` are those of the whole catalogue, by code; ``language`` is that of the receiver.
    """

    shop: str
    shop_contact: str
    claimant: str
    claim: str
    cover: str
    vehicle: str
    terms_title: str
    terms_version: int
    discovered_on: date | None
    reported_on: date
    written_on: date
    zone_names: Mapping[str, str] = field(default_factory=dict)
    language: str = ENGLISH
    former_letters: tuple["FormerLetter", ...] = ()


@dataclass(frozen=True, slots=True)
class FormerLetter:
    """A decision on the same claim that was set aside: its day, and what was paid under it, None for nothing."""

    decided_on: date
    paid: Money | None


def write_letter(
    facts: LetterFacts,
    check: ClaimCheck,
    recommendation: Recommendation,
    *,
    kind: str,
    amount: Money,
    reason: str,
) -> str:
    """Return the letter, paragraphs parted by an empty line.

    Args:
        kind: what was decided: pay, pay_in_part, refuse or goodwill.
        amount: what will be paid; nothing where it is refused.
        reason: the person's own reason, '' where the decision is what was recommended.
    """
    claimed = {zone.zone: zone.name for zone in check.claim.zones}
    names = {**facts.zone_names, **claimed}
    found = f"found on {tell_day(facts.discovered_on)}" if facts.discovered_on else "with no day of discovery given"
    parts = [
        tell_day(facts.written_on),
        f"Dear {facts.claimant},",
        f"You claimed {say(check.claim.damage)} on your {facts.vehicle}, {found} and reported on "
        f"{tell_day(facts.reported_on)}: {', '.join(claimed.values())}. The claim has the number {facts.claim}, "
        f"under cover {facts.cover}, "
        f"“{facts.terms_title}”, version {facts.terms_version}.",
        *_say_former(facts.former_letters),
        _say_decision(kind, amount, recommendation.outcome),
    ]
    given = f"The reason: {reason}"
    if reason:
        parts.append(given)
    against = [f for f in check.findings if f.answer is Answer.FAILS and not f.shop_fell_short]
    if against and kind != "pay":
        parts.append("What speaks against it:\n" + _list_findings(against, names))
    # The rules by which a payment stands; that a zone is not excluded or a limit not set needs no telling.
    speaks_for = [f for f in check.findings if f.answer is Answer.HOLDS and f.rule in TOLD_WHEN_PAID]
    if speaks_for and kind in ("pay", "pay_in_part"):
        parts.append("What it rests on:\n" + _list_findings(speaks_for, names))
    sheet = recommendation.amount
    if sheet is not None and sheet.payable is not None and kind in ("pay", "pay_in_part"):
        lines = [f"- {put_for_people(line.sentence, names)} That leaves {line.after}." for line in sheet.lines]
        parts.append("How the amount was worked out:\n" + "\n".join(lines))
        if amount != sheet.payable:
            parts.append(f"Worked out it comes to {sheet.payable}; decided was {amount}, for the reason given above.")
    if recommendation.shop_duty:
        parts.append(
            "Our own work: we found that it fell short, and that is ours to answer for:\n"
            + _list_findings(recommendation.shop_duty, names)
        )
    parts += [
        f"If you do not agree, write to {facts.shop}, {facts.shop_contact}, with the number {facts.claim} and why. "
        "Photos, invoices, odometer readings and records of visits that we do not have help most. Somebody will look "
        "at the claim again and answer in writing.",
        LAW,
        f"{facts.shop}",
    ]
    # The reason is a person's own words; everything else is the rules'.
    if facts.language.startswith(ENGLISH):
        parts = [part if part is given else format_money_in(part, ENGLISH) for part in parts]
    else:
        parts = ["\n".join(speak(line, facts.language, names) for line in part.split("\n")) for part in parts]
    return "\n\n".join(parts)


def add_verification_code(letter: str, code: str, language: str) -> str:
    """Return a letter with a checkpoint of the event log under it, as it goes out."""
    return f"{letter}\n\n{speak(tell_verification_code(code), language, {})}"


def _say_former(former: Sequence[FormerLetter]) -> list[str]:
    """Return that the letter takes the place of earlier ones, and what was paid under them."""
    told = []
    for letter in former:
        day = tell_day(letter.decided_on)
        paid = f"{letter.paid} was paid under it" if letter.paid else "Nothing was paid under it"
        told.append(f"This letter replaces our letter about the decision of {day}. {paid}.")
    return ["\n".join(told)] if told else []


def _say_decision(kind: str, amount: Money, recommended: Outcome) -> str:
    if kind == "goodwill" and recommended is not Outcome.REFUSE:
        # That nothing is owed under the terms is only said where the rules found so.
        return f"Out of goodwill we will pay {amount}."
    return {
        "pay": f"We will pay {amount}.",
        "pay_in_part": f"We will pay {amount}, which is part of what was claimed.",
        "refuse": "We cannot pay this claim under the terms of your cover.",
        "goodwill": f"Under the terms of your cover no payment is owed here. Out of goodwill we will pay {amount}.",
    }[kind]


def _list_findings(findings: Sequence[Finding], names: dict[str, str]) -> str:
    lines = []
    for finding in findings:
        zone = f"{names[finding.zone]}: " if finding.zone else ""
        clause = f" (terms: {say_clause(finding.clause)})" if finding.clause else ""
        lines.append(f"- {zone}{finding.question} {put_for_people(finding.sentence, names)}{clause}")
    return "\n".join(lines)
