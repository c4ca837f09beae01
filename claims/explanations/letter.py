"""The English of the letter about a decision, line by line.

What was typed in it by a person, and the names of the shop, of people and of the vehicle, stand as they are.
"""

from treatments.rules.explanation import Message, gettext_noop

MESSAGES: dict[str, Message] = {
    "letter.day": "{written_on}",
    "letter.greeting": gettext_noop("Dear {claimant},"),
    "letter.claim": gettext_noop(
        "You claimed {damage} on your {vehicle}, found on {found_on} and reported on {reported_on}: {zones}. The claim "
        "has the number {claim}, under cover {cover}, “{terms}”, version {version}."
    ),
    "letter.claim.no_day": gettext_noop(
        "You claimed {damage} on your {vehicle}, with no day of discovery given and reported on {reported_on}: "
        "{zones}. The claim has the number {claim}, under cover {cover}, “{terms}”, version {version}."
    ),
    "letter.replaces": gettext_noop("This letter replaces our letter about the decision of {decided_on}."),
    "letter.replaces.paid": gettext_noop("{paid} was paid under it."),
    "letter.replaces.unpaid": gettext_noop("Nothing was paid under it."),
    "letter.pay": gettext_noop("We will pay {amount}."),
    "letter.pay_in_part": gettext_noop("We will pay {amount}, which is part of what was claimed."),
    "letter.refuse": gettext_noop("We cannot pay this claim under the terms of your cover."),
    "letter.goodwill": gettext_noop("Out of goodwill we will pay {amount}."),
    "letter.goodwill.nothing_owed": gettext_noop(
        "Under the terms of your cover no payment is owed here. Out of goodwill we will pay {amount}."
    ),
    "letter.reason": gettext_noop("The reason: {reason}"),
    "letter.against": gettext_noop("What speaks against it:"),
    "letter.rests_on": gettext_noop("What it rests on:"),
    "letter.finding": gettext_noop("- {question}"),
    "letter.finding_of_zone": gettext_noop("- {zone}: {question}"),
    "letter.clause": gettext_noop("(terms: {clause})"),
    "letter.steps": gettext_noop("How the amount was worked out:"),
    "letter.step": gettext_noop("- {step}"),
    "letter.leaves": gettext_noop("That leaves {amount}."),
    "letter.differs": gettext_noop(
        "Worked out it comes to {worked_out}; decided was {decided}, for the reason given above."
    ),
    "letter.shop_duty": gettext_noop("Our own work: we found that it fell short, and that is ours to answer for:"),
    "letter.object": gettext_noop(
        "If you do not agree, write to {shop}, {contact}, with the number {claim} and why. Photos, invoices, odometer "
        "readings and records of visits that we do not have help most. Somebody will look at the claim again and "
        "answer in writing."
    ),
    "letter.law": gettext_noop(
        "Consumer law may give you rights beyond these terms, and they vary from place to place (in the United States "
        "see 15 U.S.C. 2301 ff. and 16 CFR 700-703). This letter does not take any of them away."
    ),
    "letter.signed": "{shop}",
    "letter.verification_code": gettext_noop(
        "Verification code {verification_code}. With it we can show that our records were not changed after this was "
        "written."
    ),
}
