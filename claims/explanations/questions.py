"""What each rule about a claim asks, and what the clauses of the terms are called that findings and sums rest on.

A question's code ends with the rule's name, a clause's with the field of the terms document.
"""

from treatments.rules.explanation import Message, gettext_noop

MESSAGES: dict[str, Message] = {
    "question.in_force": gettext_noop("Was the cover in force on the day of discovery?"),
    "question.in_service": gettext_noop("Was the vehicle in service on the day of discovery?"),
    "question.distance": gettext_noop("Was the vehicle within the distance limit?"),
    "question.damage_covered": gettext_noop("Do the terms cover this kind of damage?"),
    "question.reported_in_time": gettext_noop("Was it reported in time?"),
    "question.reinspections": gettext_noop("Were the reinspections done in their windows?"),
    "question.entry_intake": gettext_noop("Was the vehicle inspected before its first treatment?"),
    "question.entry_age": gettext_noop("Was the vehicle young enough to enter?"),
    "question.entry_distance": gettext_noop("Had the vehicle been driven little enough to enter?"),
    "question.entry_rust": gettext_noop("Was the vehicle free enough of rust to enter?"),
    "question.entry_required_zones": gettext_noop("Were the zones done that the terms want?"),
    "question.not_excluded": gettext_noop("Is the zone one that can be covered?"),
    "question.treated": gettext_noop("Was the zone treated?"),
    "question.intake_rust": gettext_noop("Was the zone free of rust at the intake?"),
    "question.touch_ups": gettext_noop("Was the zone's film renewed in time?"),
    "question.looks": gettext_noop("Was what inspections saw there acted upon?"),
    "question.film": gettext_noop("Did the zone get enough material?"),
    "question.lots": gettext_noop("Were the lots sound?"),
    "question.surface_conditions": gettext_noop("Was the surface fit to be treated?"),
    "question.reach": gettext_noop("Was the cavity reached all through?"),
    "clause.length_months": gettext_noop("how long the cover runs and what it hangs on"),
    "clause.distance_limit_km": gettext_noop("the distance limit"),
    "clause.entry": gettext_noop("which vehicles may enter the cover"),
    "clause.reinspection": gettext_noop("reinspections"),
    "clause.reinspection.reduced_to_percent": gettext_noop("reduced to percent"),
    "clause.touch_ups": gettext_noop("touch-ups"),
    "clause.claims.damage_covered": gettext_noop("the kinds of damage covered"),
    "clause.claims.excluded_zones": gettext_noop("the zones left out of the cover"),
    "clause.claims.notice_days": gettext_noop("the time in which damage must be reported"),
    "clause.claims.pay_down": gettext_noop("pay down"),
    "clause.claims.deductible": gettext_noop("deductible"),
    "clause.claims.limit_per_claim": gettext_noop("limit per claim"),
    "clause.claims.limit_in_all": gettext_noop("limit in all"),
}
