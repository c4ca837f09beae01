"""The rules about one claimed zone: excluded, treated, rust at intake, touched up, film, lots, conditions, reach.

A shortfall in the shop's own work is found here and marked as the shop's, so that nobody reads it as the customer's.
"""

from dataclasses import replace
from datetime import date, datetime
from decimal import Decimal

from claims.rules.claim import ClaimedZone, Finding
from scheduling.covers.rules.due import DueItem, DueKind, DueStatus
from scheduling.covers.rules.entry import find_zones_outside
from scheduling.terms.rules.terms import Terms
from treatments.enums import Answer, FilmState, InspectionKind, TreatmentKind, ZoneKind, say
from treatments.explanations import MESSAGES
from treatments.records.rules.conditions import check_conditions, check_reach
from treatments.records.rules.history import InspectedZone, TreatmentRecord, VehicleHistory, ZoneLine
from treatments.records.rules.material import MaterialNeed, MaterialVerdict, compare_zone
from treatments.records.rules.rust_grade import grade_rust
from treatments.rules.explanation import tell_in_english
from treatments.rules.wording import tell_count
from treatments.vehicles.rules.standing_facts import explain_why_out, list_standing


def check_not_excluded(zone: ClaimedZone, terms: Terms) -> Finding:
    """Is the zone one that the terms can cover? Drivetrain, exhaust and suspension are never coated."""
    finding = Finding(
        "not_excluded",
        zone.zone,
        "Is the zone one that can be covered?",
        Answer.HOLDS,
        f"{zone.name} is not excluded.",
        clause="claims.excluded_zones",
    )
    if zone.kind is ZoneKind.NEVER_COATED:
        sentence = f"{zone.name} is never coated, so it is outside every cover."
        return replace(finding, answer=Answer.FAILS, sentence=sentence)
    if zone.zone in terms.claims.excluded_zones:
        return replace(finding, answer=Answer.FAILS, sentence=f"The terms exclude {zone.name}.")
    return finding


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
    finding = Finding("treated", zone.zone, "Was the zone treated?", Answer.FAILS, "")
    coats = _find_coats(zone.zone, past)
    if coats:
        treatment, line = coats[-1]
        lot = f"lot {line.lot}" if line.lot else "lot not recorded"
        sentence = f"Last treated on {treatment.day} with {line.product}, {lot}."
        if len(coats) > 1:
            sentence += f" Coats on record: {len(coats)}, the first on {coats[0][0].day}."
        if treatment.kind is TreatmentKind.AFTER_REPAIR:
            sentence += " That was after a repair of the vehicle."
        records = tuple(dict.fromkeys(treatment.record for treatment, _ in coats))
        return replace(finding, answer=Answer.HOLDS, sentence=sentence, records=records)
    left_out = _find_lines(zone.zone, past)
    if left_out:
        treatment, line = left_out[-1]
        sentence = (
            f"Not done on {treatment.day}, for a reason on record: {line.not_done_reason}. "
            "So it was known from then on that nothing protects this zone."
        )
        return replace(finding, sentence=sentence, records=(treatment.record,))
    out = [fact for fact in list_standing(past.facts, found_on) if zone.zone in fact.zones]
    if out:
        why = tell_in_english((explain_why_out(out[0]),), MESSAGES)
        sentence = (
            f"Never coated, for a reason on record: since {out[0].day} this zone is out of the work "
            f"({why}). So it was known from then on that nothing protects it."
        )
        return replace(finding, sentence=sentence, records=tuple(fact.record for fact in out))
    treatments = past.current_treatments
    if not treatments:
        return replace(finding, sentence="No treatment is recorded up to that day.")
    finding = replace(finding, records=tuple(treatment.record for treatment in treatments))
    none_names_it = _say_none_names(len(treatments))
    first = past.find_first_treatment()
    if vehicle_zones is None:
        sentence = f"{none_names_it}. The body style is not recorded, so whether the vehicle has it cannot be told."
        return replace(finding, answer=Answer.CANNOT_BE_TOLD, sentence=sentence)
    if zone.zone not in vehicle_zones:
        sentence = f"{none_names_it}, and a vehicle of this body style has no such zone; ask which one is meant."
        return replace(finding, sentence=sentence)
    if first is None:
        return replace(finding, sentence=f"{none_names_it}, and none of them was a first treatment.")
    if zone.added_at and first_recorded_at and zone.added_at > first_recorded_at:
        sentence = (
            f"{none_names_it}. It came into the shop's catalogue only after the first treatment on {first.day} was "
            "recorded, so whether it was coated then cannot be told."
        )
        return replace(finding, answer=Answer.CANNOT_BE_TOLD, sentence=sentence)
    sentence = (
        f"{none_names_it}, although the vehicle has it. The first treatment on {first.day} left it out without a "
        "reason on record, so this is the shop's own shortfall."
    )
    return replace(finding, sentence=sentence, shop_fell_short=True)


def _say_none_names(treatments: int) -> str:
    if treatments == 1:
        return "The one treatment recorded up to that day does not name this zone"
    return f"None of the {treatments} treatments recorded up to that day names this zone"


def check_intake_rust(zone: ClaimedZone, terms: Terms, past: VehicleHistory) -> Finding:
    """Was the zone free of rust before the first treatment? Rust that was there keeps it outside the cover."""
    finding = Finding(
        "intake_rust",
        zone.zone,
        "Was the zone free of rust at the intake?",
        Answer.CANNOT_BE_TOLD,
        "No intake inspection is recorded; look for photos or notes from before the first treatment.",
        clause="entry",
    )
    intake = past.find_intake()
    if intake is None:
        if not terms.entry.intake_inspection_required:
            sentence = "The terms ask for no intake inspection, and none is recorded."
            return replace(finding, answer=Answer.HOLDS, sentence=sentence)
        return finding
    seen = intake.find_zone(zone.zone)
    if seen is None or (seen.rusted_area_percent is None and not seen.perforated):
        sentence = f"The intake inspection on {intake.day} says nothing about this zone; look for photos."
        return replace(finding, sentence=sentence, records=(intake.record,))
    if zone.zone in find_zones_outside(intake):
        what = "it was perforated"
        if seen.rusted_area_percent is not None:
            grade = grade_rust(seen.rusted_area_percent)
            what = (
                f"{seen.rusted_area_percent.normalize():f} % of it was rusted "
                f"(ISO 4628-3 {grade.iso_4628_3}, ASTM D610 grade {grade.astm_d610})"
            )
        sentence = f"At the intake on {intake.day} {what}, so the zone stays outside the cover."
        return replace(finding, answer=Answer.FAILS, sentence=sentence, records=(intake.record,))
    sentence = f"At the intake on {intake.day} no rust was found on it."
    return replace(finding, answer=Answer.HOLDS, sentence=sentence, records=(intake.record,))


def check_touch_ups(zone: ClaimedZone, items: tuple[DueItem, ...], past: VehicleHistory) -> Finding:
    """Was the zone's film renewed in time?

    A touch-up that was missed while the vehicle was at the shop, whatever for, is the shop's own omission.
    """
    finding = Finding(
        "touch_ups",
        zone.zone,
        "Was the zone's film renewed in time?",
        Answer.HOLDS,
        "No touch-up of this zone had come due.",
        clause="touch_ups",
    )
    mine = [item for item in items if item.kind is DueKind.TOUCH_UP and zone.zone in item.zones]
    settled = [item for item in mine if item.status is not DueStatus.OPEN]
    late = [item for item in settled if item.status is DueStatus.MISSED]
    if not settled:
        return finding
    records = tuple(dict.fromkeys(record for item in settled for record in item.records))
    if not late:
        done = sum(item.status is DueStatus.DONE for item in settled)
        waived = len(settled) - done
        told = [f"renewed in time: {done}"] if done else []
        told += [f"waived by the shop: {waived}"] if waived else []
        sentence = f"{tell_count(len(settled), 'touch-up')} had come due; {'; '.join(told)}."
        return replace(finding, sentence=sentence, records=records)
    uncured = [item for item in late if item.done_on is None]
    sentence = f"{len(late)} of {len(settled)} not renewed in time. {(uncured or late)[-1].sentence}"
    if not uncured:
        # The terms let the next coat make up for it, and it had come before the rust was found.
        return replace(finding, sentence=f"{sentence} Made up for before the rust was found.", records=records)
    at_shop = past.list_days_at_shop()
    chances = [_find_chance(item, at_shop) for item in uncured]
    is_the_shops = all(chances)
    if is_the_shops and (chance := chances[-1]) is not None:
        day, record = chance
        sentence += f" The vehicle was at the shop on {day}, in time to be coated: the shop's own omission."
        records = tuple(dict.fromkeys((*records, record)))
    return replace(finding, answer=Answer.FAILS, sentence=sentence, records=records, shop_fell_short=is_the_shops)


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
        told.append(f"{inspection.day}: {_say_look(seen)}{', not coated since' if wants_work and not acted else ''}")
        records.append(inspection.record)
    if not told:
        return []
    return [
        Finding(
            "looks",
            zone.zone,
            "Was what inspections saw there acted upon?",
            Answer.FAILS if ignored else Answer.HOLDS,
            f"Seen {'; '.join(told)}.",
            records=tuple(records),
            shop_fell_short=True,
        )
    ]


def _say_look(seen: InspectedZone) -> str:
    if seen.perforated:
        return "perforated"
    percent = seen.rusted_area_percent
    rust = "rust not measured"
    if percent is not None:
        grade = grade_rust(percent)
        rust = f"{percent.normalize():f} % rusted (ISO 4628-3 {grade.iso_4628_3}, ASTM D610 grade {grade.astm_d610})"
    film = "" if seen.film is FilmState.NOT_SEEN else f", film {say(seen.film)}"
    return f"{rust}{film}"


def check_film_on_record(zone: ClaimedZone, past: VehicleHistory) -> Finding:
    """Did the zone get the material that its area and the product's film want, at the coat that began its cover?"""
    finding = Finding(
        "film",
        zone.zone,
        "Did the zone get enough material?",
        Answer.CANNOT_BE_TOLD,
        "",
        shop_fell_short=True,
    )
    coats = _find_coats(zone.zone, past)
    treatment, _ = coats[0]
    sentences, verdicts = [], set()
    by_product: dict[str | None, list[ZoneLine]] = {}
    for coat, line in coats:
        if coat.record == treatment.record:
            by_product.setdefault(line.product, []).append(line)
    for lines in by_product.values():
        line = lines[0]
        if line.area_m2 is None or line.target_dry_film_um is None or line.volume_solids_percent is None:
            sentences.append(
                f"The area of {zone.name} on this vehicle is not known (its body style is not recorded), so the "
                f"film of {line.product} cannot be told."
            )
            verdicts.add(MaterialVerdict.CANNOT_BE_TOLD)
            continue
        # What came from two lots of a product is one film.
        known = [part.quantity_ml for part in lines if part.quantity_ml is not None]
        if len(known) < len(lines):
            sentences.append(
                f"{line.product} on {treatment.day}: only the total for the vehicle is on record, so what this zone "
                "got cannot be told."
            )
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
        sentences.append(f"{line.product} on {treatment.day}: {material.sentence}")
        verdicts.add(material.verdict)
    answer = Answer.HOLDS
    if MaterialVerdict.UNDER in verdicts:
        answer = Answer.FAILS
    elif MaterialVerdict.CANNOT_BE_TOLD in verdicts:
        answer = Answer.CANNOT_BE_TOLD
    return replace(finding, answer=answer, sentence=" ".join(sentences), records=(treatment.record,))


def check_lots(zone: ClaimedZone, past: VehicleHistory) -> Finding:
    """Were the lots on the zone known, in date when applied, and not recalled?"""
    finding = Finding("lots", zone.zone, "Were the lots sound?", Answer.HOLDS, "", clause="", shop_fell_short=True)
    bad, unknown, sound = [], [], []
    for treatment, line in _find_coats(zone.zone, past):
        if line.lot is None:
            unknown.append(f"the lot of {line.product} on {treatment.day} is not recorded")
            continue
        name = f"lot {line.lot} of {line.product}"
        if line.lot_recalled_on is not None:
            bad.append(f"{name} was recalled on {line.lot_recalled_on}")
        if line.lot_expires_on is None:
            unknown.append(f"the expiry of {name} is not recorded")
        elif line.lot_expires_on < treatment.day:
            bad.append(f"{name} had expired on {line.lot_expires_on} when it was applied on {treatment.day}")
        else:
            sound.append(name)
    records = tuple(dict.fromkeys(t.record for t, _ in _find_coats(zone.zone, past)))
    if bad:
        sentence = "; ".join(dict.fromkeys(bad))
        return replace(finding, answer=Answer.FAILS, sentence=_as_sentence(sentence), records=records)
    if unknown:
        sentence = "; ".join(dict.fromkeys(unknown))
        return replace(finding, answer=Answer.CANNOT_BE_TOLD, sentence=_as_sentence(sentence), records=records)
    sentence = f"In date when applied and not recalled: {', '.join(dict.fromkeys(sound))}."
    return replace(finding, sentence=sentence, records=records)


def _as_sentence(text: str) -> str:
    return text[:1].upper() + text[1:] + "."


def _summarise(finding: Finding, answers: list[tuple[Answer, str]]) -> Finding:
    """Fold several answers into one finding: any failure fails it, else any unknown leaves it open."""
    failed = [sentence for answer, sentence in answers if answer is Answer.FAILS]
    open_ = [sentence for answer, sentence in answers if answer is Answer.CANNOT_BE_TOLD]
    if failed:
        return replace(finding, answer=Answer.FAILS, sentence=" ".join(failed))
    if open_:
        return replace(finding, answer=Answer.CANNOT_BE_TOLD, sentence=" ".join(open_))
    return replace(finding, answer=Answer.HOLDS, sentence=" ".join(sentence for _, sentence in answers))


def check_conditions_on_record(zone: ClaimedZone, past: VehicleHistory) -> Finding:
    """Was the surface fit for the product at the coat that began the zone's cover?"""
    treatment, line = _find_coats(zone.zone, past)[0]
    finding = Finding(
        "surface_conditions",
        zone.zone,
        "Was the surface fit to be treated?",
        Answer.CANNOT_BE_TOLD,
        f"The surface conditions on {treatment.day} are not recorded.",
        (treatment.record,),
        shop_fell_short=True,
    )
    if treatment.conditions is None:
        return finding
    displacing = any(other.water_displacing for other in treatment.lines if other.zone == zone.zone and other.applied)
    answers = check_conditions(
        replace(treatment.conditions, plastic_parts=line.plastic),
        product_min_surface_c=line.surface_min_c,
        product_max_surface_c=line.surface_max_c,
        product_water_displacing=line.water_displacing,
        first_coat_water_displacing=displacing,
    )
    return _summarise(finding, [(answer.answer, answer.sentence) for answer in answers])


def check_reach_on_record(zone: ClaimedZone, past: VehicleHistory) -> list[Finding]:
    """Was an enclosed cavity reached all through? Only asked of enclosed cavities."""
    if zone.kind is not ZoneKind.ENCLOSED_CAVITY:
        return []
    treatment, line = _find_coats(zone.zone, past)[0]
    finding = Finding(
        "reach",
        zone.zone,
        "Was the cavity reached all through?",
        Answer.CANNOT_BE_TOLD,
        "",
        (treatment.record,),
        shop_fell_short=True,
    )
    answers = check_reach(
        access_points_used=line.access_points_used,
        pressure_kpa=line.pressure_kpa,
        mist_seen_at_far_end=line.mist_seen_at_far_end,
        zone_kind=line.zone_kind,
    )
    return [_summarise(finding, [(answer.answer, answer.sentence) for answer in answers])]
