"""The English label of each word in the closed lists about bays, visits, due items, cover and terms.

The French stands in ``django.po``; ``treatments/shared/labels.py`` finds them. A lower app's words
stand there alone.
"""

LABELS: dict[str, str] = {
    # Skill
    "inspecting": "inspecting",
    "spraying": "spraying",
    # VisitKind
    "look_at_rust": "look at rust",
    # AppointmentStatus
    "booked": "booked",
    "in_the_bay": "in the bay",
    "done": "done",
    "cancelled": "cancelled",
    "no_show": "no show",
    # BookedBy
    "desk": "desk",
    "customer": "customer",
    "season_plan": "season plan",
    "walk_in": "walk in",
    # PartOfDay
    "morning": "morning",
    "afternoon": "afternoon",
    # ProposalStatus
    "open": "open",
    "being_booked": "being booked",
    "accepted": "accepted",
    "left_out": "left out",
    "refused": "refused",
    # DueKind
    "touch_up": "touch-up",
    # DueStatus
    "missed": "missed",
    "waived": "waived",
    # CoverStatus
    "pending": "pending",
    "in_force": "in force",
    "suspended": "suspended",
    "lapsed": "lapsed",
    "expired": "expired",
    "ended": "ended",
    # CoverChangeKind
    "due_item_waived": "due item waived",
    "transfer_notified": "transfer notified",
    "terms_moved": "terms moved",
    "end_taken_back": "end taken back",
    # Anchor
    "anniversary": "anniversary",
    "last_visit": "last visit",
    # Roll
    "next_open_day": "next open day",
    "stay": "stay",
    # MissedMeans
    "nothing": "nothing",
    "suspends": "suspends",
    "lapses": "lapses",
    "reduces": "reduces",
    # DistanceFrom
    "odometer": "odometer",
    # UsualReason
    "reason.customer_asked": "The customer asked for it",
    "reason.vehicle_gone": "The customer no longer has the vehicle",
    "reason.weather": "The weather",
    "reason.shop_cannot": "We can't: a bay or a person is missing",
    "reason.booked_by_mistake": "Booked by mistake",
    "reason.nobody_answered": "Called, nobody answered",
    "reason.forgotten": "Called, the customer had forgotten and will book again",
    "reason.no_number": "No number to call",
    "reason.underside_wet": "The underside is wet",
    "reason.mud_or_salt": "Mud or road salt on the underside",
    "reason.snow_or_ice": "Snow or ice has to thaw first",
}
