"""The rules about one claimed zone: excluded, treated, rust at intake, touched up, film, lots, conditions, reach.

A shortfall in the shop's own work is found here and marked as the shop's, so that nobody reads it as the customer's.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date, datetime
from decimal import Decimal

from claims.rules.claim import ClaimedZone, Finding
from scheduling.covers.rules.due import DueItem, DueKind, DueStatus
from scheduling.covers.rules.entry import find_zones_outside
from scheduling.terms.rules.terms import Terms
from treatments.enums import Answer, FilmState, InspectionKind, TreatmentKind, ZoneKind
from treatments.records.rules.conditions import ConditionFinding, check_conditions, check_reach
from treatments.records.rules.history import InspectedZone, TreatmentRecord, VehicleHistory, ZoneLine
from treatments.records.rules.material import MaterialNeed, MaterialVerdict, compare_zone
from treatments.records.rules.rust_grade import grade_rust
from treatments.rules.explanation import Explanation, Label, OwnWords, Param, ProductName, ZoneCode, explain
from treatments.vehicles.rules.coatable import explain_why_out, list_standing


def check_not_excluded(zone: ClaimedZone, terms: Terms) -> Finding:
    """Is the zone one that the terms can cover? Drivetrain, exhaust and suspension are never coated."""
    finding = Finding("not_excluded", zone.zone, Answer.HOLDS, clause="claims.excluded_zones")
    code = ZoneCode(zone.zone)
    if zone.kind is ZoneKind.NEVER_COATED:
        return finding.with_reasons(explain("not_excluded.never_coated", zone=code), answer=Answer.FAILS)
    if zone.zone in terms.claims.excluded_zones:
        return finding.with_reasons(explain("not_excluded.by_terms", zone=code), answer=Answer.FAILS)
    return finding.with_reasons(explain("not_excluded.covered", zone=code))


def _find_lines(zone: str, past: VehicleHistory) -> list[tuple[TreatmentRecord, ZoneLine]]:
    return [(treatment, line) for treatment in past.current_treatments for line in treatment.lines if line.zone == zone]


def _find_coats(zone: str, past: VehicleHistory) -> list[tuple[TreatmentRecord, ZoneLine]]:
    return [(treatment, line) for treatment, line in _find_lines(zone, past) if line.applied]


def check_treated(
    zone: ClaimedZone,
    past: VehicleHistory,
    vehicle_zones: frozenset[str] | None,
    found_on: date,
    first_recorded_at: datetime | None = None,
) -> Finding:
    """Was the zone treated, with what and when last?

    A zone that the vehicle has and that the first treatment left out without a reason is the shop's own shortfall:
    the customer paid for a whole treatment and could not see what was missing. A zone that came into the catalogue
    after the first treatment was recorded was not left out by it.
    """
    finding = Finding("treated", zone.zone, Answer.FAILS)
    coats = _find_coats(zone.zone, past)
    if coats:
        told = list(_explain_coats(coats))
        records = tuple(dict.fromkeys(treatment.record for treatment, _ in coats))
        return finding.with_reasons(*told, answer=Answer.HOLDS, records=records)
    left_out = _find_lines(zone.zone, past)
    if left_out:
        treatment, line = left_out[-1]
        not_done = explain("treated.not_done", treated_on=treatment.day, reason=OwnWords(line.not_done_reason))
        return finding.with_reasons(not_done, records=(treatment.record,))
    out = [fact for fact in list_standing(past.facts, found_on) if zone.zone in fact.zones]
    if out:
        since = explain("treated.out_of_work", since_on=out[0].day, why=explain_why_out(out[0]))
        return finding.with_reasons(since, records=tuple(fact.record for fact in out))
    treatments = past.current_treatments
    if not treatments:
        return finding.with_reasons(explain("treated.nothing_on_record"))
    finding = replace(finding, records=tuple(treatment.record for treatment in treatments))
    none_names_it = explain("treated.one_not_naming_it")
    if len(treatments) > 1:
        none_names_it = explain("treated.none_names_it", count=len(treatments))
    first = past.find_first_treatment()
    if vehicle_zones is None:
        return finding.with_reasons(explain("treated.no_body_style", none=none_names_it), answer=Answer.CANNOT_BE_TOLD)
    if zone.zone not in vehicle_zones:
        return finding.with_reasons(explain("treated.not_on_body", none=none_names_it))
    if first is None:
        return finding.with_reasons(explain("treated.no_first_treatment", none=none_names_it))
    if zone.added_at and first_recorded_at and zone.added_at > first_recorded_at:
        added_later = explain("treated.zone_added_later", none=none_names_it, treated_on=first.day)
        return finding.with_reasons(added_later, answer=Answer.CANNOT_BE_TOLD)
    left_out_by_first = explain("treated.left_out", none=none_names_it, treated_on=first.day)
    return finding.with_reasons(left_out_by_first, shop_fell_short=True)


def _explain_coats(coats: list[tuple[TreatmentRecord, ZoneLine]]) -> Iterator[Explanation]:
    """Yield with what a zone was treated last, and how often."""
    treatment, line = coats[-1]
    what: dict[str, Param] = {"treated_on": treatment.day, "product": _name_product(line)}
    if line.lot:
        yield explain("treated.last", **what, lot=OwnWords(line.lot))
    else:
        yield explain("treated.last.no_lot", **what)
    if len(coats) > 1:
        yield explain("treated.coats", count=len(coats), first_on=coats[0][0].day)
    if treatment.kind is TreatmentKind.AFTER_REPAIR:
        yield explain("treated.after_repair")


def _name_product(line: ZoneLine) -> ProductName:
    return ProductName(str(line.product))


def check_intake_rust(zone: ClaimedZone, terms: Terms, past: VehicleHistory) -> Finding:
    """Was the zone free of rust before the first treatment? Rust that was there keeps it outside the cover."""
    finding = Finding("intake_rust", zone.zone, Answer.CANNOT_BE_TOLD, clause="entry")
    intake = past.find_intake()
    if intake is None:
        if not terms.entry.intake_inspection_required:
            return finding.with_reasons(explain("intake_rust.not_asked_for"), answer=Answer.HOLDS)
        return finding.with_reasons(explain("intake_rust.no_inspection"))
    finding = replace(finding, records=(intake.record,))
    seen = intake.find_zone(zone.zone)
    if seen is None or (seen.rusted_area_percent is None and not seen.perforated):
        return finding.with_reasons(explain("intake_rust.not_told", inspected_on=intake.day))
    if zone.zone in find_zones_outside(intake):
        found = explain("intake_rust.perforated", inspected_on=intake.day)
        if seen.rusted_area_percent is not None:
            rust = _grade(seen.rusted_area_percent)
            found = explain("intake_rust.rusted", inspected_on=intake.day, **rust)
        return finding.with_reasons(found, answer=Answer.FAILS)
    return finding.with_reasons(explain("intake_rust.none", inspected_on=intake.day), answer=Answer.HOLDS)


def _grade(percent: Decimal) -> dict[str, Param]:
    """Return a rusted area in per cent with its grades, as the texts name them."""
    grade = grade_rust(percent)
    return {"percent": percent, "iso_4628_3": grade.iso_4628_3, "astm_d610": grade.astm_d610}


def check_touch_ups(zone: ClaimedZone, items: tuple[DueItem, ...], past: VehicleHistory) -> Finding:
    """Was the zone's film renewed in time?

    A touch-up that was missed while the vehicle was at the shop, whatever for, is the shop's own omission.
    """
    finding = Finding("touch_ups", zone.zone, Answer.HOLDS, clause="touch_ups")
    mine = [item for item in items if item.kind is DueKind.TOUCH_UP and zone.zone in item.zones]
    settled = [item for item in mine if item.status is not DueStatus.OPEN]
    late = [item for item in settled if item.status is DueStatus.MISSED]
    if not settled:
        return finding.with_reasons(explain("touch_ups.none_due"))
    records = tuple(dict.fromkeys(record for item in settled for record in item.records))
    if not late:
        done = sum(item.status is DueStatus.DONE for item in settled)
        waived = len(settled) - done
        became = "renewed" if not waived else "renewed_and_waived" if done else "waived"
        kept = explain(f"touch_ups.{became}", count=len(settled), done=done, waived=waived)
        return finding.with_reasons(kept, records=records)
    uncured = [item for item in late if item.done_on is None]
    missed = [explain("touch_ups.missed", missed=len(late), count=len(settled)), *(uncured or late)[-1].reasons]
    if not uncured:
        # The terms let the next coat make up for it, and it had come before the rust was found.
        return finding.with_reasons(*missed, explain("touch_ups.made_up_for"), records=records)
    at_shop = past.list_days_at_shop()
    chances = [_find_chance(item, at_shop) for item in uncured]
    is_the_shops = all(chances)
    if is_the_shops and (chance := chances[-1]) is not None:
        day, record = chance
        missed.append(explain("touch_ups.shop_omitted", at_shop_on=day))
        records = tuple(dict.fromkeys((*records, record)))
    return finding.with_reasons(*missed, answer=Answer.FAILS, records=records, shop_fell_short=is_the_shops)


def _find_chance(item: DueItem, at_shop: list[tuple[date, str]]) -> tuple[date, str] | None:
    """Return the first day, with its record, on which the vehicle was at the shop in the window or the grace."""
    opens, grace = item.dates.opens_on, item.dates.grace_until
    return next((visit for visit in at_shop if opens <= visit[0] <= grace), None)


def check_looks_on_record(zone: ClaimedZone, past: VehicleHistory, found_on: date) -> list[Finding]:
    """What did reinspections see on the zone since its first coat, and was it acted upon? Nothing is asked of none.

    Rust, a thin film or none, seen at a reinspection, wants the zone coated on that day or later before the discovery.
    A look on the day of discovery is the discovery.
    """
    coats = [treatment.day for treatment, _ in _find_coats(zone.zone, past)]
    told, records, ignored = [], [], False
    for inspection in past.current_inspections:
        seen = inspection.find_zone(zone.zone)
        if seen is None or seen.not_seen_reason or inspection.kind is not InspectionKind.REINSPECTION:
            continue
        if not coats[0] < inspection.day < found_on:
            continue
        wants_work = (
            seen.perforated or bool(seen.rusted_area_percent) or seen.film in (FilmState.THIN, FilmState.MISSING)
        )
        acted = any(day >= inspection.day for day in coats)
        ignored = ignored or (wants_work and not acted)
        told.append(_explain_look(inspection.day, seen, is_ignored=wants_work and not acted))
        records.append(inspection.record)
    if not told:
        return []
    return [
        Finding(
            "looks",
            zone.zone,
            Answer.FAILS if ignored else Answer.HOLDS,
            tuple(told),
            records=tuple(records),
            shop_fell_short=True,
        )
    ]


def _explain_look(seen_on: date, seen: InspectedZone, *, is_ignored: bool) -> Explanation:
    if seen.perforated:
        saw = explain("looks.perforated")
    else:
        film = None if seen.film is FilmState.NOT_SEEN else explain("looks.film", film=Label(seen.film))
        percent = seen.rusted_area_percent
        saw = explain("looks.not_measured", film=film)
        if percent is not None:
            saw = explain("looks.rusted", **_grade(percent), film=film)
    return explain("looks.not_coated_since" if is_ignored else "looks.seen", seen_on=seen_on, saw=saw)


def check_film_on_record(zone: ClaimedZone, past: VehicleHistory) -> Finding:
    """Did the zone get the material that its area and the product's film want, at the coat that began its cover?"""
    finding = Finding("film", zone.zone, Answer.CANNOT_BE_TOLD, shop_fell_short=True)
    coats = _find_coats(zone.zone, past)
    treatment, _ = coats[0]
    told, verdicts = [], set()
    by_product: dict[str | None, list[ZoneLine]] = {}
    for coat, line in coats:
        if coat.record == treatment.record:
            by_product.setdefault(line.product, []).append(line)
    for lines in by_product.values():
        line = lines[0]
        if line.area_m2 is None or line.target_dry_film_um is None or line.volume_solids_percent is None:
            told.append(explain("film.no_area", zone=ZoneCode(zone.zone), product=_name_product(line)))
            verdicts.add(MaterialVerdict.CANNOT_BE_TOLD)
            continue
        # What came from two lots of a product is one film.
        known = [part.quantity_ml for part in lines if part.quantity_ml is not None]
        if len(known) < len(lines):
            told.append(explain("film.only_total", product=_name_product(line), treated_on=treatment.day))
            verdicts.add(MaterialVerdict.CANNOT_BE_TOLD)
            continue
        need = MaterialNeed(
            line.zone,
            line.area_m2,
            line.target_dry_film_um,
            line.volume_solids_percent,
            line.loss_fraction,
        )
        material = compare_zone(need, sum(known, Decimal(0)))
        got = material.explanation
        told.append(explain("film.material", product=_name_product(line), treated_on=treatment.day, material=got))
        verdicts.add(material.verdict)
    answer = Answer.HOLDS
    if MaterialVerdict.UNDER in verdicts:
        answer = Answer.FAILS
    elif MaterialVerdict.CANNOT_BE_TOLD in verdicts:
        answer = Answer.CANNOT_BE_TOLD
    return finding.with_reasons(*told, answer=answer, records=(treatment.record,))


def check_lots(zone: ClaimedZone, past: VehicleHistory) -> Finding:
    """Were the lots on the zone known, in date when applied, and not recalled?"""
    finding = Finding("lots", zone.zone, Answer.HOLDS, shop_fell_short=True)
    bad, unknown, sound = [], [], []
    coats = _find_coats(zone.zone, past)
    for treatment, line in coats:
        product = _name_product(line)
        if line.lot is None:
            unknown.append(explain("lots.not_recorded", product=product, treated_on=treatment.day))
            continue
        named: dict[str, Param] = {"lot": OwnWords(line.lot), "product": product}
        if line.lot_recalled_on is not None:
            bad.append(explain("lots.recalled", **named, recalled_on=line.lot_recalled_on))
        if line.lot_expires_on is None:
            unknown.append(explain("lots.no_expiry", **named))
        elif line.lot_expires_on < treatment.day:
            bad.append(explain("lots.expired", **named, expired_on=line.lot_expires_on, treated_on=treatment.day))
        else:
            sound.append(explain("lots.lot", **named))
    finding = replace(finding, records=tuple(dict.fromkeys(treatment.record for treatment, _ in coats)))
    if bad:
        return finding.with_reasons(*dict.fromkeys(bad), answer=Answer.FAILS)
    if unknown:
        return finding.with_reasons(*dict.fromkeys(unknown), answer=Answer.CANNOT_BE_TOLD)
    return finding.with_reasons(explain("lots.sound", lots=tuple(dict.fromkeys(sound))))


def _summarise(finding: Finding, answers: Sequence[ConditionFinding]) -> Finding:
    """Fold several answers into one finding: any failure fails it, else any unknown leaves it open."""
    for answer in (Answer.FAILS, Answer.CANNOT_BE_TOLD):
        if any(one.answer is answer for one in answers):
            return finding.with_reasons(*(one.explanation for one in answers if one.answer is answer), answer=answer)
    return finding.with_reasons(*(one.explanation for one in answers), answer=Answer.HOLDS)


def check_conditions_on_record(zone: ClaimedZone, past: VehicleHistory) -> Finding:
    """Was the surface fit for the product at the coat that began the zone's cover?"""
    treatment, line = _find_coats(zone.zone, past)[0]
    finding = Finding(
        "surface_conditions", zone.zone, Answer.CANNOT_BE_TOLD, records=(treatment.record,), shop_fell_short=True
    )
    if treatment.conditions is None:
        return finding.with_reasons(explain("surface_conditions.not_recorded", treated_on=treatment.day))
    displacing = any(other.water_displacing for other in treatment.lines if other.zone == zone.zone and other.applied)
    answers = check_conditions(
        replace(treatment.conditions, plastic_parts=line.plastic),
        product_min_surface_c=line.surface_min_c,
        product_max_surface_c=line.surface_max_c,
        product_water_displacing=line.water_displacing,
        first_coat_water_displacing=displacing,
    )
    return _summarise(finding, answers)


def check_reach_on_record(zone: ClaimedZone, past: VehicleHistory) -> list[Finding]:
    """Was an enclosed cavity reached all through? Only asked of enclosed cavities."""
    if zone.kind is not ZoneKind.ENCLOSED_CAVITY:
        return []
    treatment, line = _find_coats(zone.zone, past)[0]
    finding = Finding("reach", zone.zone, Answer.CANNOT_BE_TOLD, records=(treatment.record,), shop_fell_short=True)
    answers = check_reach(
        access_points_used=line.access_points_used,
        pressure_kpa=line.pressure_kpa,
        mist_seen_at_far_end=line.mist_seen_at_far_end,
        zone_kind=line.zone_kind,
    )
    return [_summarise(finding, answers)]
