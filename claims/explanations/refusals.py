"""The English of what the services about claims refuse, and why.

Each names the way out.
"""

from treatments.rules.explanation import Message, gettext_noop

_DAYS: dict[str, Message] = {
    "refused.day_not_come": gettext_noop("{day} has not come yet; today is {today}."),
    "refused.day_too_old": gettext_noop("{day} is too long ago; write a day from {first_day} on."),
    "refused.before_report": gettext_noop("{day} is before the report on {reported_on}."),
    "refused.before_request": gettext_noop("{day} is before it was asked for on {asked_on}."),
    "refused.before_decision": gettext_noop("{day} is before the decision on {decided_on}."),
    "refused.after_report": gettext_noop("{day} is after the report on {reported_on}; ask which day is right."),
    "refused.before_service": gettext_noop(
        "{day} is more than {years} years before the vehicle was in service on {in_service_on}; ask which day is right."
    ),
    "refused.before_model_year": gettext_noop(
        "{day} is before a vehicle of model year {model_year} was built; ask which day is right."
    ),
}
_HANDLING: dict[str, Message] = {
    "refused.acknowledged": gettext_noop("It was acknowledged on {acknowledged_on} already."),
    "refused.request_empty": gettext_noop("Say what the customer is asked for."),
    "refused.request_on_decided": gettext_noop("The claim is decided; reopen it to ask for more."),
    "refused.answered": gettext_noop("It had already come on {came_on}."),
    "refused.inspection_of_other_vehicle": gettext_noop("It is of another vehicle."),
    "refused.inspection_draft": gettext_noop("It is a draft; sign it off first."),
    "refused.inspection_amended": gettext_noop("It was amended; name its newest version."),
    "refused.inspection_kind": gettext_noop("It is a {kind} inspection; record one for a claim."),
}
_DECIDING: dict[str, Message] = {
    "refused.decided": gettext_noop("{claim} was decided on {decided_on}; reopen it first, with a reason."),
    "refused.not_payable": gettext_noop("{amount} can't be paid in {currency}; write {rounded}."),
    "refused.refusal_pays": gettext_noop("{amount}: a refusal pays nothing; write 0 or choose another decision."),
    "refused.nothing_paid": gettext_noop("{amount}: write more than 0, or refuse."),
    "refused.beyond_limit_per_claim": gettext_noop(
        "{amount} is more than {left}, the limit per claim; what goes beyond the terms is goodwill.{before}"
    ),
    "refused.beyond_limit_in_all": gettext_noop(
        "{amount} is more than {left}, the rest of the limit in all; what goes beyond the terms is goodwill.{before}"
    ),
    "refused.paid_before": gettext_noop(" {paid} of {most} was paid or decided before."),
    "refused.no_reason": gettext_noop("Recommended is: {recommended} Say why it is decided otherwise."),
    "refused.letter_changed": gettext_noop("The letter is not the one that was shown any more. Read it as it is now."),
    "refused.same_person": gettext_noop("The second person must be another than the one who decided."),
    "refused.no_second_wanted": gettext_noop("This decision waits for no second person."),
    "refused.nothing_new": gettext_noop("Say what is new."),
    "refused.not_decided": gettext_noop("{claim} is not decided, so there is nothing to reopen."),
    "refused.decision_not_standing": gettext_noop(
        "This decision does not stand: it was reopened, or waits for a second person."
    ),
    "refused.no_reference": gettext_noop("Write the reference of the payment."),
    "refused.paid_too_much": gettext_noop("{amount}: {left} of {decided} is left to pay."),
}
_INTAKE: dict[str, Message] = {
    "refused.no_zone": gettext_noop("Name at least one zone on which rust is claimed."),
    "refused.estimates_not_claimed": gettext_noop("Estimates for {zones}, which are not claimed."),
    "refused.not_the_sum": gettext_noop("{amount} is not the sum of the zones' estimates, {sum}."),
    "refused.same_damage": gettext_noop(
        "{claims} already claims this damage on one of these zones. Add what is new to that claim, or say why this is "
        "another damage."
    ),
    "refused.zone_not_claimed": gettext_noop("{zone} is not claimed in {claim}."),
}
MESSAGES: dict[str, Message] = {**_DAYS, **_HANDLING, **_DECIDING, **_INTAKE}
