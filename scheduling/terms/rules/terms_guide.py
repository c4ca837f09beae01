"""What each field of the terms is called, in what it is measured and what it means, for forms and pages.

Keys are the paths of the fields without list positions; fixtures/terms/MEANING.md is the text behind them.
"""

from dataclasses import dataclass

from scheduling.terms.rules.terms import Anchor, DistanceFrom, MissedMeans, Roll
from treatments.rules.explanation import gettext_noop as _


@dataclass(frozen=True, slots=True)
class FieldGuide:
    """One field as a person reads it.

    Attributes:
        label: its name.
        means: what it promises, for somebody who fills it in.
        unit: what it is counted in, '' for none; "money" stands for the currency of the terms.
        says: the sentence that tells its value, with ``{value}`` in its place; '' where CHOICES or a row tells it.
        without: the sentence where it is left out, empty or no; '' where it always has a value.
        row: for a list of tables, what one of them is called.
        empty: what leaving the field empty says, such as "for no limit"; '' where it can't be left empty.
    """

    label: str
    means: str
    unit: str = ""
    says: str = ""
    without: str = ""
    row: str = ""
    empty: str = ""


TABLES: dict[str, FieldGuide] = {
    "": FieldGuide(_("The terms"), _("How long the cover runs, and how its days are counted.")),
    "entry": FieldGuide(
        _("Entry"), _("Which vehicles may enter. The shop answers for what it let in against the terms.")
    ),
    "reinspection": FieldGuide(
        _("Reinspections"),
        _("When the vehicle must be looked at again. A reinspection and an annual touch-up both count as a visit."),
        without=_("No reinspections are asked for."),
    ),
    "touch_ups": FieldGuide(
        _("Touch-ups"),
        _(
            "How often a film is renewed. Each coat starts its own clock; the most exact rule for its product family "
            "and kind of zone counts. The window and grace are those of the reinspections."
        ),
        without=_("No touch-ups are asked for."),
        row=_("Touch-up"),
    ),
    "severe_exposure": FieldGuide(
        _("Severe exposure"),
        _("Shorter intervals where the vehicle is used in a corrosive place, by the ISO 9223 category of the place."),
        without=_("The intervals are the same everywhere."),
    ),
    "seasons": FieldGuide(
        _("Seasons"),
        _(
            "Parts of the year in which work is preferred. A day outside them is moved earlier into one, as far as the "
            "window allows. A season may run over New Year."
        ),
        without=_("No part of the year is preferred."),
        row=_("Season"),
    ),
    "transfer": FieldGuide(_("Change of owner"), _("Whether the cover follows the vehicle to a new owner.")),
    "claims": FieldGuide(_("Claims"), _("What is paid, how much of it, and what a claimant must do in time.")),
    "claims.pay_down": FieldGuide(
        _("Pay-down by age"),
        _("From these ages of the cover on, only a part of the allowed cost is paid. Ages go up, parts go down."),
        without=_("What is paid does not go down with age."),
        row=_("Pay-down step"),
    ),
    "texts": FieldGuide(
        _("Texts in other languages"),
        _(
            "Title and exclusions as they stand on the certificate of a customer who reads another language. The rest "
            "is told in every language of the program."
        ),
        without=_("There are no texts in other languages; certificates in them have title and exclusions as written."),
        row=_("Language"),
    ),
}

FIELDS: dict[str, FieldGuide] = {
    "code": FieldGuide(_("Code"), _("The short name under which all versions of these terms are kept. It stays.")),
    "version": FieldGuide(_("Version"), _("Counted up by one for each new text. It stays.")),
    "title": FieldGuide(_("Title"), _("As it stands on the certificate."), says=_("“{value}”.")),
    "currency": FieldGuide(
        _("Currency"),
        _("The ISO 4217 code of the money in these terms, such as USD or CAD."),
        says=_("Money is in {value}."),
    ),
    "length_months": FieldGuide(
        _("Length of the cover"),
        _(
            "Counted from the first treatment; the day with the same number that many months later is the last day of "
            "cover."
        ),
        _("months"),
        _("The cover runs {value} from the first treatment."),
        _("The cover runs without end."),
        empty=_("for a cover without end"),
    ),
    "distance_limit_km": FieldGuide(
        _("Distance limit"),
        _("The cover expires on the day on which the vehicle reaches this distance."),
        "km",
        _("The cover expires when the vehicle reaches {value}."),
        _("No distance ends the cover."),
        empty=_("for no limit"),
    ),
    "distance_from": FieldGuide(_("Distance counted"), _("From where the distance limit is counted.")),
    "registration_deadline_days": FieldGuide(
        _("Registration deadline"),
        _("A cover registered later than this after the first treatment was never in force."),
        _("days"),
        _("The cover must be registered within {value} of the first treatment, or it is never in force."),
        _("The cover may be registered at any time."),
        empty=_("for none"),
    ),
    "roll": FieldGuide(_("Closed days"), _("What happens to a date on which the site is closed.")),
    "entry.max_age_months": FieldGuide(
        _("Oldest vehicle"),
        _("Age since it was first used, on the day of the first treatment."),
        _("months"),
        _("The vehicle may be at most {value} old."),
        _("Vehicles of any age may enter."),
        empty=_("for any age"),
    ),
    "entry.max_distance_km": FieldGuide(
        _("Farthest driven"),
        _("The odometer on the day of the first treatment."),
        "km",
        _("The vehicle may have been driven at most {value}."),
        _("However far the vehicle has been driven, it may enter."),
        empty=_("for any distance"),
    ),
    "entry.max_rusted_area_percent": FieldGuide(
        _("Most rust at intake"),
        _("Rusted area of the worst zone at the intake inspection."),
        "%",
        _("At most {value} of any zone may be rusted at the intake inspection."),
        _("Any rust at the intake inspection is accepted."),
        empty=_("for any"),
    ),
    "entry.required_zones": FieldGuide(
        _("Zones that must be done"),
        _("The cover does not begin before all of them have been coated."),
        says=_("The cover does not begin before these zones are coated: {value}."),
        without=_("No zone must be done before the cover begins."),
    ),
    "entry.intake_inspection_required": FieldGuide(
        _("Intake inspection needed"),
        _("Whether the vehicle must be inspected before its first treatment."),
        says=_("The vehicle must be inspected before its first treatment."),
        without=_("No inspection is needed before the first treatment."),
    ),
    "reinspection.first_after_months": FieldGuide(
        _("First one after"),
        _("Months from the first treatment to the first reinspection."),
        _("months"),
        _("The first reinspection is {value} after the first treatment."),
    ),
    "reinspection.interval_months": FieldGuide(
        _("Then every"),
        _("Months from one reinspection to the next."),
        _("months"),
        _("After that, one every {value}."),
    ),
    "reinspection.anchor": FieldGuide(_("Counted from"), _("From what each interval is counted.")),
    "reinspection.window_before_days": FieldGuide(
        _("Window opens before"),
        _("How long before its day a visit may come and still count."),
        _("days"),
        _("The window opens {value} before its day."),
        _("The window opens on the day itself."),
    ),
    "reinspection.window_after_days": FieldGuide(
        _("Window stays open after"),
        _("How long after its day a visit is still in time."),
        _("days"),
        _("A visit is in time until {value} after its day."),
        _("A visit is in time until the day itself."),
    ),
    "reinspection.grace_days": FieldGuide(
        _("Grace"),
        _("How long after the window a late visit still counts. It must not reach the next window."),
        _("days"),
        _("A late visit still counts for {value} more."),
        _("There are no days of grace."),
    ),
    "reinspection.missed_means": FieldGuide(
        _("A missed one"), _("What happens to the cover on the day after the end of grace.")
    ),
    "reinspection.reduced_to_percent": FieldGuide(
        _("Reduced to"),
        _("Only where a missed one reduces the cover: the part of an allowed cost that is paid from then on."),
        "%",
        _("After a missed one {value} of an allowed cost is paid."),
        _("A missed one does not reduce what is paid."),
    ),
    "touch_ups.interval_months": FieldGuide(_("Every"), _("Months from a coat to the next."), _("months")),
    "touch_ups.family": FieldGuide(_("Product family"), _("A family that one of the shop's products is of, or any.")),
    "touch_ups.zone_kind": FieldGuide(_("Kind of zone"), _("One kind of zone, or any.")),
    "severe_exposure.from_category": FieldGuide(
        _("From category"),
        _("C1 is the least corrosive, CX the most."),
        says=_("They hold from ISO 9223 category {value} on."),
    ),
    "severe_exposure.reinspection_interval_months": FieldGuide(
        _("Reinspection every"),
        _("Never longer than the usual interval."),
        _("months"),
        _("There a reinspection is due every {value}."),
        _("Reinspections stay at their usual interval."),
        empty=_("for the usual one"),
    ),
    "severe_exposure.touch_up_interval_months": FieldGuide(
        _("Touch-up every"),
        _("Shortens every longer touch-up interval."),
        _("months"),
        _("There a film is renewed after {value} at the latest."),
        _("Touch-ups stay at their usual intervals."),
        empty=_("for the usual ones"),
    ),
    "seasons.first_month": FieldGuide(_("From month"), _("1 is January.")),
    "seasons.first_day": FieldGuide(_("From day"), _("Included.")),
    "seasons.last_month": FieldGuide(_("To month"), _("12 is December.")),
    "seasons.last_day": FieldGuide(_("To day"), _("Included.")),
    "transfer.allowed": FieldGuide(
        _("Follows the vehicle"),
        _("Whether the cover goes on under a new owner."),
        says=_("The cover follows the vehicle to a new owner."),
        without=_("The cover ends when the vehicle changes owner."),
    ),
    "transfer.max_transfers": FieldGuide(
        _("Most changes of owner"),
        _("The change after this many ends the cover."),
        _("times"),
        _("It follows at most {value}."),
        _("It follows any number of changes."),
        empty=_("for any number"),
    ),
    "transfer.notice_days": FieldGuide(
        _("The shop must be told within"),
        _("Counted from the change of owner; if the shop is told later, the cover ends when they are over."),
        _("days"),
        _("The shop must be told of a new owner within {value}, or the cover ends."),
        _("The shop need not be told of a new owner."),
        empty=_("for no notice"),
    ),
    "claims.damage_covered": FieldGuide(
        _("Damage covered"), _("At least one kind."), says=_("Covered: {value}."), without=_("No damage is covered.")
    ),
    "claims.exclusions": FieldGuide(
        _("Not covered, in words"),
        _("One to a line, as they stand on the certificate."),
        says=_("Not covered: {value}."),
        without=_("No other exclusions in words."),
    ),
    "texts.language": FieldGuide(_("Language"), _("Its ISO 639 code, such as fr for French.")),
    "texts.title": FieldGuide(_("Title"), _("As it stands on the certificate in this language.")),
    "texts.exclusions": FieldGuide(
        _("Not covered, in words"),
        _("One to a line, as many as above and in the same order; else they stand as first written."),
    ),
    "claims.excluded_zones": FieldGuide(
        _("Zones not covered"),
        _("A claim on one of these zones fails."),
        says=_("Not covered are these zones: {value}."),
        without=_("No zone is left out."),
    ),
    "claims.waiting_days": FieldGuide(
        _("Waiting period"),
        _("Days from the first treatment to the first day of cover; 0 for none."),
        _("days"),
        _("The first day of cover is {value} after the first treatment."),
        _("There is no waiting period."),
    ),
    "claims.notice_days": FieldGuide(
        _("Report within"),
        _("Counted from the day on which the rust was found."),
        _("days"),
        _("Rust must be reported within {value} of being found."),
        _("Rust may be reported at any time."),
        empty=_("for no notice period"),
    ),
    "claims.deductible": FieldGuide(
        _("Deductible"),
        _("What the customer pays of each claim; 0 for none."),
        "money",
        _("The customer pays {value} of each claim."),
        _("The customer pays nothing of a claim."),
    ),
    "claims.limit_per_claim": FieldGuide(
        _("Limit per claim"),
        _("The most that is paid for one claim."),
        "money",
        _("At most {value} is paid for one claim."),
        _("No limit for one claim."),
        empty=_("for no limit"),
    ),
    "claims.limit_in_all": FieldGuide(
        _("Limit in all"),
        _("The most that is paid for all claims on one cover together."),
        "money",
        _("At most {value} is paid for all claims together."),
        _("No limit for all claims together."),
        empty=_("for no limit"),
    ),
    "claims.acknowledge_days": FieldGuide(
        _("Acknowledge within"),
        _("Open days of the site after the report; days on which the customer owes something are not counted."),
        _("open days"),
        _("A claim is acknowledged within {value} of its report."),
        _("No time is set for acknowledging a claim."),
        empty=_("for no set time"),
    ),
    "claims.inspect_days": FieldGuide(
        _("Inspect within"),
        _("Open days of the site after the report, counted in the same way."),
        _("open days"),
        _("The vehicle is inspected within {value} of the report."),
        _("No time is set for inspecting the vehicle."),
        empty=_("for no set time"),
    ),
    "claims.decide_days": FieldGuide(
        _("Decide within"),
        _("Open days of the site after the report, counted in the same way. Law may set a time of its own."),
        _("open days"),
        _("A claim is decided within {value} of its report."),
        _("No time is set for deciding a claim."),
        empty=_("for no set time"),
    ),
    "claims.second_person_above": FieldGuide(
        _("Second person above"),
        _("A decision to pay more than this needs a second person."),
        "money",
        _("To pay more than {value}, a second person must agree."),
        _("One person decides, whatever the amount."),
        empty=_("for never"),
    ),
    "claims.pay_down.from_month": FieldGuide(
        _("From month"), _("Age of the cover in whole months from the first treatment."), _("months")
    ),
    "claims.pay_down.percent": FieldGuide(_("Paid"), _("The part of the allowed cost that is paid."), "%"),
}

CHOICES: dict[str, str] = {
    f"distance_from.{DistanceFrom.ODOMETER}": _("The distance is the figure on the odometer."),
    f"distance_from.{DistanceFrom.FIRST_TREATMENT}": _("The distance is driven since the first treatment."),
    f"roll.{Roll.NEXT_OPEN_DAY}": _("A date on a closed day moves to the next open day."),
    f"roll.{Roll.STAY}": _("A date on a closed day stays on it."),
    f"reinspection.anchor.{Anchor.ANNIVERSARY}": _(
        "Each is counted from the first treatment; an early visit does not count."
    ),
    f"reinspection.anchor.{Anchor.LAST_VISIT}": _("Each is counted from the visit before; an early visit counts."),
    f"reinspection.missed_means.{MissedMeans.NOTHING}": _("A missed one changes nothing."),
    f"reinspection.missed_means.{MissedMeans.SUSPENDS}": _(
        "A missed one suspends the cover until the vehicle is seen."
    ),
    f"reinspection.missed_means.{MissedMeans.LAPSES}": _("A missed one makes the cover lapse for good."),
    f"reinspection.missed_means.{MissedMeans.REDUCES}": _("A missed one reduces what the cover pays from then on."),
}
"""What each choice of a field promises, by the field's path and the choice."""
