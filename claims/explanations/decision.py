"""The English of what follows from findings: the sum, what is recommended, deadlines, and what would be different.

The sum's steps are told one to a line, the others as sentences.
"""

from treatments.rules.explanation import Message, gettext_noop, ngettext_noop

_AMOUNT: dict[str, Message] = {
    "amount.other_currency": gettext_noop(
        "Amounts in {foreign}: the terms pay in {currency}; ask for them in {currency}."
    ),
    "amount.no_estimate": gettext_noop("{lacking} of {zones} zones have no estimate; ask for one for each."),
    "amount.estimate": gettext_noop("Estimate for the zones on which the claim holds: {estimate}."),
    "amount.reduced": gettext_noop("After a missed reinspection the cover pays {percent} %."),
    "amount.pay_down": gettext_noop("Age {months} whole months from {started_on} to {found_on}: {percent} % is paid."),
    "amount.deductible": gettext_noop("Deductible of each claim: {deductible}."),
    "amount.limit_per_claim.reached": gettext_noop("At most {limit} per claim: reached."),
    "amount.limit_per_claim.not_reached": gettext_noop("At most {limit} per claim: not reached."),
    "amount.paid_before": gettext_noop("{paid} was paid on this claim before."),
    "amount.limit_in_all.reached": gettext_noop(
        "At most {limit} in all; {paid} was paid before, {left} is left: reached."
    ),
    "amount.limit_in_all.not_reached": gettext_noop(
        "At most {limit} in all; {paid} was paid before, {left} is left: not reached."
    ),
}
_RECOMMENDED: dict[str, Message] = {
    "recommended.ask": gettext_noop("Something about {zones} cannot be told; ask before deciding."),
    "recommended.refuse": gettext_noop("Under the terms the claim fails for {zones}."),
    "recommended.nothing_claimed": gettext_noop("No zone is claimed."),
    "recommended.no_sum": gettext_noop("The claim holds for {zones}, but what it comes to cannot be told."),
    "recommended.nothing_left": gettext_noop("The claim holds for {zones}, but under the terms it comes to {amount}."),
    "recommended.pay_in_part": gettext_noop("The claim holds for {zones} and fails for {refused}: {amount}."),
    "recommended.pay": gettext_noop("The claim holds for {zones}: {amount}."),
    "recommended.shop_fell_short": gettext_noop("The shop's own work fell short: the findings on it say where."),
}
_DEADLINES: dict[str, Message] = {
    "deadline.due": ngettext_noop(
        "{days} open day after the report on {reported_on}{paused}: {due_on}.",
        "{days} open days after the report on {reported_on}{paused}: {due_on}.",
        "days",
    ),
    "deadline.not_told": ngettext_noop(
        "{days} open day after the report on {reported_on}{paused}; {left}.",
        "{days} open days after the report on {reported_on}{paused}; {left}.",
        "days",
    ),
    "deadline.paused": ngettext_noop(
        ", paused {days} day while the customer owed something",
        ", paused {days} days while the customer owed something",
        "days",
    ),
    "deadline.left": ngettext_noop("{days} open day is left", "{days} open days are left", "days"),
    "deadline.waits": gettext_noop("Waiting."),
    "deadline.waits_for": gettext_noop("Waiting since {asked_on} for: {what}."),
    "deadline.done": gettext_noop("Done on {done_on}."),
    "deadline.done_in_time": gettext_noop("Done on {done_on}, in time."),
    "deadline.done_late": gettext_noop("Done on {done_on}, late."),
}
_DIFFERENCES: dict[str, Message] = {
    "difference.claim_turns": gettext_noop("Claim {claim} {now} and {would}."),
    "difference.claim_stays": gettext_noop("Claim {claim} {now}, now as then."),
    "difference.now.holds": gettext_noop("holds now"),
    "difference.now.fails": gettext_noop("does not hold now"),
    "difference.now.cannot_be_told": gettext_noop("cannot be told now"),
    "difference.would.holds": gettext_noop("would hold"),
    "difference.would.fails": gettext_noop("would not hold"),
    "difference.would.cannot_be_told": gettext_noop("could not be told"),
    "difference.zone": gettext_noop("{zone}: {before} becomes {after}."),
    "difference.rule": gettext_noop("{question} {before} becomes {after}:"),
    "difference.rule_of_zone": gettext_noop("{question} ({zone}) {before} becomes {after}:"),
    "difference.answer": gettext_noop("“{answer}”"),
    "difference.not_asked": gettext_noop("“not asked”"),
    "what_if.no_such_record": gettext_noop("There is no {record}; there is: {known}."),
    "what_if.no_records": gettext_noop("There is no {record}; there is: nothing."),
    "what_if.not_claimed": gettext_noop("{zone} is not claimed; claimed are: {claimed}."),
}
MESSAGES: dict[str, Message] = {**_AMOUNT, **_RECOMMENDED, **_DEADLINES, **_DIFFERENCES}
