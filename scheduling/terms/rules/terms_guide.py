"""What each field of the terms is called, in what it is measured and what it means, for forms and pages.

Keys are the paths of the fields without list positions; fixtures/terms/MEANING.md is the text behind them.
"""

from dataclasses import dataclass

from scheduling.terms.rules.terms import Anchor, DistanceFrom, MissedMeans, Roll


@dataclass(frozen=True, slots=True)
class FieldGuide:
    """One field as a person reads it.

    Attributes:
        label: its name.
        means: what it promises, for somebody who fills it in.
        unit: what it is counted in, '' for none; "money" stands for the currency of the terms.
        says: the sentence that tells its value, with ``{}`` in the place of the value.
        without: the sentence where it is left out, empty or no; '' where it always has a value.
        row: for a list of tables, what one of them is called.
        empty: what leaving the field empty says, such as "for no limit"; '' where it can't be left empty.
    """

    label: str
    means: str
    unit: str = ""
    says: str = "{}."
    without: str = ""
    row: str = ""
    empty: str = ""


TABLES: dict[str, FieldGuide] = {
    "": FieldGuide("The terms", "How long the cover runs, and how its days are counted."),
    "entry": FieldGuide("Entry", "Which vehicles may enter. The shop answers for what it let in against the terms."),
    "reinspection": FieldGuide(
        "Reinspections",
        "When the vehicle must be looked at again. A reinspection and an annual touch-up both count as a visit.",
        without="No reinspections are asked for.",
    ),
    "touch_ups": FieldGuide(
        "Touch-ups",
        "How often a film is renewed. Each coat starts its own clock; the most exact rule for its product family and "
        "kind of zone counts. The window and grace are those of the reinspections.",
        without="No touch-ups are asked for.",
        row="Touch-up",
    ),
    "severe_exposure": FieldGuide(
        "Severe exposure",
        "Shorter intervals where the vehicle is used in a corrosive place, by the ISO 9223 category of the place.",
        without="The intervals are the same everywhere.",
    ),
    "seasons": FieldGuide(
        "Seasons",
        "Parts of the year in which work is preferred. A day outside them is moved earlier into one, as far as the "
        "window allows. A season may run over New Year.",
        without="No part of the year is preferred.",
        row="Season",
    ),
    "transfer": FieldGuide("Change of owner", "Whether the cover follows the vehicle to a new owner."),
    "claims": FieldGuide("Claims", "What is paid, how much of it, and what a claimant must do in time."),
    "claims.pay_down": FieldGuide(
        "Pay-down by age",
        "From these ages of the cover on, only a part of the allowed cost is paid. Ages go up, parts go down.",
        without="What is paid does not go down with age.",
        row="Step",
    ),
}

FIELDS: dict[str, FieldGuide] = {
    "code": FieldGuide("Code", "The short name under which all versions of these terms are kept. It stays."),
    "version": FieldGuide("Version", "Counted up by one for each new text. It stays."),
    "title": FieldGuide("Title", "As it stands on the certificate.", says="“{}”."),
    "currency": FieldGuide(
        "Currency", "The ISO 4217 code of the money in these terms, such as USD or CAD.", says="Money is in {}."
    ),
    "length_months": FieldGuide(
        "Length of the cover",
        "Counted from the first treatment; the day with the same number that many months later is the last day of "
        "cover.",
        "months",
        "The cover runs {} from the first treatment.",
        "The cover runs without end.",
        empty="for a cover without end",
    ),
    "distance_limit_km": FieldGuide(
        "Distance limit",
        "The cover expires on the day on which the vehicle reaches this distance.",
        "km",
        "The cover expires when the vehicle reaches {}.",
        "No distance ends the cover.",
        empty="for no limit",
    ),
    "distance_from": FieldGuide("Distance counted", "From where the distance limit is counted.", says="{}"),
    "registration_deadline_days": FieldGuide(
        "Registration deadline",
        "A cover registered later than this after the first treatment was never in force.",
        "days",
        "The cover must be registered within {} of the first treatment, or it is never in force.",
        "The cover may be registered at any time.",
        empty="for none",
    ),
    "roll": FieldGuide("Closed days", "What happens to a date on which the site is closed.", says="{}"),
    "entry.max_age_months": FieldGuide(
        "Oldest vehicle",
        "Age since it was first used, on the day of the first treatment.",
        "months",
        "The vehicle may be at most {} old.",
        "Vehicles of any age may enter.",
        empty="for any age",
    ),
    "entry.max_distance_km": FieldGuide(
        "Farthest driven",
        "The odometer on the day of the first treatment.",
        "km",
        "The vehicle may have been driven at most {}.",
        "However far the vehicle has been driven, it may enter.",
        empty="for any distance",
    ),
    "entry.max_rusted_area_percent": FieldGuide(
        "Most rust at intake",
        "Rusted area of the worst zone at the intake inspection.",
        "%",
        "At most {} of any zone may be rusted at the intake inspection.",
        "Any rust at the intake inspection is accepted.",
        empty="for any",
    ),
    "entry.required_zones": FieldGuide(
        "Zones that must be done",
        "The cover does not begin before all of them have been coated.",
        says="The cover does not begin before these zones are coated: {}.",
        without="No zone must be done before the cover begins.",
    ),
    "entry.intake_inspection_required": FieldGuide(
        "Intake inspection needed",
        "Whether the vehicle must be inspected before its first treatment.",
        says="The vehicle must be inspected before its first treatment.",
        without="No inspection is needed before the first treatment.",
    ),
    "reinspection.first_after_months": FieldGuide(
        "First one after",
        "Months from the first treatment to the first reinspection.",
        "months",
        "The first reinspection is {} after the first treatment.",
    ),
    "reinspection.interval_months": FieldGuide(
        "Then every", "Months from one reinspection to the next.", "months", "After that, one every {}."
    ),
    "reinspection.anchor": FieldGuide("Counted from", "From what each interval is counted.", says="{}"),
    "reinspection.window_before_days": FieldGuide(
        "Window opens before",
        "How long before its day a visit may come and still count.",
        "days",
        "The window opens {} before its day.",
        "The window opens on the day itself.",
    ),
    "reinspection.window_after_days": FieldGuide(
        "Window stays open after",
        "How long after its day a visit is still in time.",
        "days",
        "A visit is in time until {} after its day.",
        "A visit is in time until the day itself.",
    ),
    "reinspection.grace_days": FieldGuide(
        "Grace",
        "How long after the window a late visit still counts. It must not reach the next window.",
        "days",
        "A late visit still counts for {} more.",
        "There are no days of grace.",
    ),
    "reinspection.missed_means": FieldGuide(
        "A missed one", "What happens to the cover on the day after the end of grace.", says="{}"
    ),
    "reinspection.reduced_to_percent": FieldGuide(
        "Reduced to",
        "Only where a missed one reduces the cover: the part of an allowed cost that is paid from then on.",
        "%",
        "After a missed one {} of an allowed cost is paid.",
        "A missed one does not reduce what is paid.",
    ),
    "touch_ups.interval_months": FieldGuide("Every", "Months from a coat to the next.", "months"),
    "touch_ups.family": FieldGuide("Product family", "A family that one of the shop's products is of, or any."),
    "touch_ups.zone_kind": FieldGuide("Kind of zone", "One kind of zone, or any."),
    "severe_exposure.from_category": FieldGuide(
        "From category", "C1 is the least corrosive, CX the most.", says="They hold from ISO 9223 category {} on."
    ),
    "severe_exposure.reinspection_interval_months": FieldGuide(
        "Reinspection every",
        "Never longer than the usual interval.",
        "months",
        "There a reinspection is due every {}.",
        "Reinspections stay at their usual interval.",
        empty="for the usual one",
    ),
    "severe_exposure.touch_up_interval_months": FieldGuide(
        "Touch-up every",
        "Shortens every longer touch-up interval.",
        "months",
        "There a film is renewed after {} at the latest.",
        "Touch-ups stay at their usual intervals.",
        empty="for the usual ones",
    ),
    "seasons.first_month": FieldGuide("From month", "1 is January."),
    "seasons.first_day": FieldGuide("From day", "Included."),
    "seasons.last_month": FieldGuide("To month", "12 is December."),
    "seasons.last_day": FieldGuide("To day", "Included."),
    "transfer.allowed": FieldGuide(
        "Follows the vehicle",
        "Whether the cover goes on under a new owner.",
        says="The cover follows the vehicle to a new owner.",
        without="The cover ends when the vehicle changes owner.",
    ),
    "transfer.max_transfers": FieldGuide(
        "Most changes of owner",
        "The change after this many ends the cover.",
        "times",
        "It follows at most {}.",
        "It follows any number of changes.",
        empty="for any number",
    ),
    "transfer.notice_days": FieldGuide(
        "The shop must be told within",
        "Counted from the change of owner; if the shop is told later, the cover ends when they are over.",
        "days",
        "The shop must be told of a new owner within {}, or the cover ends.",
        "The shop need not be told of a new owner.",
        empty="for no notice",
    ),
    "claims.damage_covered": FieldGuide(
        "Damage covered", "At least one kind.", says="Covered: {}.", without="No damage is covered."
    ),
    "claims.exclusions": FieldGuide(
        "Not covered, in words",
        "One to a line, as they stand on the certificate.",
        says="Not covered: {}.",
        without="No other exclusions in words.",
    ),
    "claims.excluded_zones": FieldGuide(
        "Zones not covered",
        "A claim on one of these zones fails.",
        says="Not covered are these zones: {}.",
        without="No zone is left out.",
    ),
    "claims.waiting_days": FieldGuide(
        "Waiting period",
        "Days from the first treatment to the first day of cover; 0 for none.",
        "days",
        "The first day of cover is {} after the first treatment.",
        "There is no waiting period.",
    ),
    "claims.notice_days": FieldGuide(
        "Report within",
        "Counted from the day on which the rust was found.",
        "days",
        "Rust must be reported within {} of being found.",
        "Rust may be reported at any time.",
        empty="for no notice period",
    ),
    "claims.deductible": FieldGuide(
        "Deductible",
        "What the customer pays of each claim; 0 for none.",
        "money",
        "The customer pays {} of each claim.",
        "The customer pays nothing of a claim.",
    ),
    "claims.limit_per_claim": FieldGuide(
        "Limit per claim",
        "The most that is paid for one claim.",
        "money",
        "At most {} is paid for one claim.",
        "No limit for one claim.",
        empty="for no limit",
    ),
    "claims.limit_in_all": FieldGuide(
        "Limit in all",
        "The most that is paid for all claims on one cover together.",
        "money",
        "At most {} is paid for all claims together.",
        "No limit for all claims together.",
        empty="for no limit",
    ),
    "claims.acknowledge_days": FieldGuide(
        "Acknowledge within",
        "Open days of the site after the report; days on which the customer owes something are not counted.",
        "open days",
        "A claim is acknowledged within {} of its report.",
        "No time is set for acknowledging a claim.",
        empty="for no set time",
    ),
    "claims.inspect_days": FieldGuide(
        "Inspect within",
        "Open days of the site after the report, counted in the same way.",
        "open days",
        "The vehicle is inspected within {} of the report.",
        "No time is set for inspecting the vehicle.",
        empty="for no set time",
    ),
    "claims.decide_days": FieldGuide(
        "Decide within",
        "Open days of the site after the report, counted in the same way. Law may set a time of its own.",
        "open days",
        "A claim is decided within {} of its report.",
        "No time is set for deciding a claim.",
        empty="for no set time",
    ),
    "claims.second_person_above": FieldGuide(
        "Second person above",
        "A decision to pay more than this needs a second person.",
        "money",
        "To pay more than {}, a second person must agree.",
        "One person decides, whatever the amount.",
        empty="for never",
    ),
    "claims.pay_down.from_month": FieldGuide(
        "From month", "Age of the cover in whole months from the first treatment.", "months"
    ),
    "claims.pay_down.percent": FieldGuide("Paid", "The part of the allowed cost that is paid.", "%"),
}

CHOICES: dict[str, str] = {
    f"distance_from.{DistanceFrom.ODOMETER}": "The distance is the figure on the odometer.",
    f"distance_from.{DistanceFrom.FIRST_TREATMENT}": "The distance is driven since the first treatment.",
    f"roll.{Roll.NEXT_OPEN_DAY}": "A date on a closed day moves to the next open day.",
    f"roll.{Roll.STAY}": "A date on a closed day stays on it.",
    f"reinspection.anchor.{Anchor.ANNIVERSARY}": "Each is counted from the first treatment; an early visit does not "
    "count.",
    f"reinspection.anchor.{Anchor.LAST_VISIT}": "Each is counted from the visit before; an early visit counts.",
    f"reinspection.missed_means.{MissedMeans.NOTHING}": "A missed one changes nothing.",
    f"reinspection.missed_means.{MissedMeans.SUSPENDS}": "A missed one suspends the cover until the vehicle is seen.",
    f"reinspection.missed_means.{MissedMeans.LAPSES}": "A missed one makes the cover lapse for good.",
    f"reinspection.missed_means.{MissedMeans.REDUCES}": "A missed one reduces what the cover pays from then on.",
}
"""What each choice of a field promises, by the field's path and the choice."""
