"""The letter about a decision: what was decided, under which clause, on which facts, and how to object.

It is put into the language of its receiver where it is written down, so that it can be read before it goes and kept
as it went.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TypeAlias

from claims.rules.claim import ClaimCheck, Finding, explain_clause
from claims.rules.recommend import Outcome, Recommendation
from treatments.enums import Answer
from treatments.rules.explanation import Explanation, Label, OwnWords, Param, ZoneCode, explain
from treatments.rules.formats import ENGLISH, Money

TOLD_WHEN_PAID = ("in_force", "damage_covered", "reported_in_time", "reinspections", "treated")

Line: TypeAlias = tuple[Explanation, ...]
Paragraph: TypeAlias = tuple[Line, ...]
Letter: TypeAlias = tuple[Paragraph, ...]


@dataclass(frozen=True, slots=True)
class LetterFacts:
    """Who writes to whom about what; ``language`` is that of the receiver."""

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
) -> Letter:
    """Return the paragraphs of the letter, each with its lines.

    Args:
        kind: what was decided: pay, pay_in_part, refuse or goodwill.
        amount: what will be paid; nothing where it is refused.
        reason: the person's own reason, '' where the decision is what was recommended.
    """
    paragraphs = [
        _put(explain("letter.day", written_on=facts.written_on)),
        _put(explain("letter.greeting", claimant=OwnWords(facts.claimant))),
        _put(_explain_claim(facts, check)),
    ]
    if facts.former_letters:
        paragraphs.append(tuple(_list_former(facts.former_letters)))
    paragraphs.append(_put(_explain_decision(kind, amount, recommendation.outcome)))
    if reason:
        paragraphs.append(_put(explain("letter.reason", reason=OwnWords(reason))))
    against = [f for f in check.findings if f.answer is Answer.FAILS and not f.shop_fell_short]
    if against and kind != "pay":
        paragraphs.append(_list_findings("letter.against", against))
    # The rules by which a payment stands; that a zone is not excluded or a limit not set needs no telling.
    speaks_for = [f for f in check.findings if f.answer is Answer.HOLDS and f.rule in TOLD_WHEN_PAID]
    if speaks_for and kind in ("pay", "pay_in_part"):
        paragraphs.append(_list_findings("letter.rests_on", speaks_for))
    sheet = recommendation.amount
    if sheet is not None and sheet.payable is not None and kind in ("pay", "pay_in_part"):
        steps = [
            (explain("letter.step", step=line.explanation), explain("letter.leaves", amount=line.after))
            for line in sheet.lines
        ]
        paragraphs.append(((explain("letter.steps"),), *steps))
        if amount != sheet.payable:
            paragraphs.append(_put(explain("letter.differs", worked_out=sheet.payable, decided=amount)))
    if recommendation.shop_duty:
        paragraphs.append(_list_findings("letter.shop_duty", recommendation.shop_duty))
    shop = OwnWords(facts.shop)
    paragraphs += [
        _put(explain("letter.object", shop=shop, contact=OwnWords(facts.shop_contact), claim=facts.claim)),
        _put(explain("letter.law")),
        _put(explain("letter.signed", shop=shop)),
    ]
    return tuple(paragraphs)


def add_verification_code(letter: Letter, code: str) -> Letter:
    """Return a letter with a checkpoint of the event log under it, as it goes out."""
    return (*letter, _put(explain("letter.verification_code", verification_code=code)))


def _put(explanation: Explanation) -> Paragraph:
    """Return a paragraph of one line."""
    return ((explanation,),)


def _explain_claim(facts: LetterFacts, check: ClaimCheck) -> Explanation:
    said: dict[str, Param] = {
        "damage": Label(check.claim.damage),
        "vehicle": OwnWords(facts.vehicle),
        "reported_on": facts.reported_on,
        "zones": tuple(ZoneCode(zone.zone) for zone in check.claim.zones),
        "claim": facts.claim,
        "cover": facts.cover,
        "terms": OwnWords(facts.terms_title),
        "version": facts.terms_version,
    }
    if facts.discovered_on is None:
        return explain("letter.claim.no_day", **said)
    return explain("letter.claim", **said, found_on=facts.discovered_on)


def _list_former(former: Sequence[FormerLetter]) -> Iterator[Line]:
    """Yield that the letter takes the place of earlier ones, and what was paid under them."""
    for letter in former:
        paid = explain("letter.replaces.paid", paid=letter.paid) if letter.paid else explain("letter.replaces.unpaid")
        yield explain("letter.replaces", decided_on=letter.decided_on), paid


def _explain_decision(kind: str, amount: Money, recommended: Outcome) -> Explanation:
    if kind == "refuse":
        return explain("letter.refuse")
    # That nothing is owed under the terms is only said where the rules found so.
    nothing_owed = kind == "goodwill" and recommended is Outcome.REFUSE
    return explain("letter.goodwill.nothing_owed" if nothing_owed else f"letter.{kind}", amount=amount)


def _list_findings(heading: str, findings: Sequence[Finding]) -> Paragraph:
    return ((explain(heading),), *map(_explain_finding, findings))


def _explain_finding(finding: Finding) -> Line:
    asked = explain("letter.finding", question=finding.question)
    if finding.zone:
        asked = explain("letter.finding_of_zone", zone=ZoneCode(finding.zone), question=finding.question)
    clause = (explain("letter.clause", clause=explain_clause(finding.clause)),) if finding.clause else ()
    return asked, *finding.explanations, *clause
