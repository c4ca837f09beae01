"""Reads how far a customer's claims are, and takes in what the customer sends about them. A person decides each."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import IO

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from claims.decisions.dossier import read_claim_file
from claims.intake.services import attach_claim_photo, file_claim
from claims.models import Claim, ClaimDecision, ClaimPayment, ClaimPhoto, ClaimRequest
from claims.rules.deadlines import ClaimStep, Deadline
from scheduling.models import Cover
from treatments.enums import DamageKind
from treatments.models import Customer, Vehicle, Zone
from treatments.records.photos import PhotoError
from treatments.shared.shown import check_unchanged_since, name_records

MOST_PHOTOS_AT_ONCE = 8
MOST_PHOTOS_OF_A_CLAIM = 40
# Whoever reports more than this in a day is better served by a call.
MOST_REPORTS_A_DAY = 5


@dataclass(frozen=True, slots=True)
class OwnClaim:
    """A claim as who claims sees it: what was reported, what is needed, and what was decided. No finding is shown.

    Attributes:
        missing: what the customer was asked for and has not come yet.
        decision: one that stands; None while nothing is decided, or a second person has still to agree.
        is_decided: whether somebody decided, also where a second person has still to agree.
        was_reopened: whether an earlier decision was set aside.
        decide_by: the last day for the decision by the terms; None where they set none, or it waits for the customer.
    """

    claim: Claim
    zones: tuple[Zone, ...]
    photos: tuple[ClaimPhoto, ...]
    missing: tuple[ClaimRequest, ...]
    received: tuple[ClaimRequest, ...]
    inspected_on: date | None
    decision: ClaimDecision | None
    is_decided: bool
    was_reopened: bool
    payments: tuple[ClaimPayment, ...]
    decide_by: date | None

    @property
    def takes_photos(self) -> bool:
        return not self.is_decided and len(self.photos) < MOST_PHOTOS_OF_A_CLAIM


def list_own_claims(customer: Customer, vehicle: Vehicle) -> list[Claim]:
    """Return the claims on a vehicle that its owner reported, the newest first."""
    owned = vehicle.ownerships.filter(customer=customer, until_day__isnull=True).first()
    if owned is None:
        return []
    return list(Claim.objects.filter(cover__vehicle=vehicle, reported_on__gte=owned.from_day))


def read_own_claim(claim: Claim, *, as_of: date) -> OwnClaim:
    """Return all that the page of a claim shows."""
    file = read_claim_file(claim, as_of=as_of)
    decision = next((one for one in file.decisions if one.stands), None)
    deadlines: dict[ClaimStep, Deadline] = {one.step: one for one in file.deadlines}
    decide = deadlines.get(ClaimStep.DECIDE)
    return OwnClaim(
        claim,
        tuple(claim.zones.all()),
        file.photos,
        tuple(request for request in file.requests if request.came_on is None),
        tuple(request for request in file.requests if request.came_on is not None),
        file.inspection.day if file.inspection else None,
        decision,
        file.standing is not None,
        any(one.reopened_at is not None for one in file.decisions),
        tuple(decision.payments.all()) if decision else (),
        decide.due_on if decide and decide.done_on is None else None,
    )


@transaction.atomic
def report_rust(
    *,
    cover: Cover,
    zones: Sequence[Zone],
    damage: DamageKind,
    reported_on: date,
    discovered_on: date | None,
    description: str,
    same_damage_reason: str,
    photos: Sequence[tuple[IO[bytes], str]],
    now: datetime,
    shown_at: int | None,
) -> Claim:
    """Take in a customer's report of rust as a claim with its photos, or nothing.

    Args:
        photos: each with the name of its file.
        shown_at: as for ``check_unchanged_since``.

    Raises:
        ClaimError: as for ``file_claim``.
        ChangedSinceShownError: where the cover, its vehicle or its claims have changed since.
        ValidationError: for a photo that can't be kept, or after too many reports today.
    """
    Cover.objects.select_for_update().get(pk=cover.pk)
    check_unchanged_since(shown_at, name_records(cover, cover.vehicle, cover.claims.all()))
    filed_today = Claim.objects.filter(cover=cover, recorded_by__isnull=True, reported_on=reported_on)
    if filed_today.count() >= MOST_REPORTS_A_DAY:
        raise ValidationError(_("Rust was reported on this vehicle very often today. Please call us."))
    claim = file_claim(
        cover=cover,
        zones=zones,
        damage=damage,
        reported_on=reported_on,
        discovered_on=discovered_on,
        description=description,
        same_damage_reason=same_damage_reason,
        now=now,
        actor=None,
    )
    _attach(claim, photos, now)
    return claim


@transaction.atomic
def send_claim_photos(
    *, claim: Claim, photos: Sequence[tuple[IO[bytes], str]], now: datetime, shown_at: int | None
) -> int:
    """Keep photos that a customer sends to a claim, all or none; return how many are new.

    Raises:
        ChangedSinceShownError: where the claim has changed since the page was shown.
        ValidationError: for a photo that can't be kept, too many, or once the claim is decided.
    """
    locked = Claim.objects.select_for_update().get(pk=claim.pk)
    check_unchanged_since(shown_at, name_records(locked))
    if locked.decisions.filter(reopened_at__isnull=True).exists():
        raise ValidationError({"photos": _("The claim is decided. If something is new, please call us.")})
    before = locked.photos.count()
    _attach(locked, photos, now)
    return locked.photos.count() - before


def _attach(claim: Claim, photos: Sequence[tuple[IO[bytes], str]], now: datetime) -> None:
    if len(photos) > MOST_PHOTOS_AT_ONCE:
        raise ValidationError(
            {"photos": _("Send at most %(most)s photos at once, and more afterwards.") % {"most": MOST_PHOTOS_AT_ONCE}}
        )
    if claim.photos.count() + len(photos) > MOST_PHOTOS_OF_A_CLAIM:
        most = {"most": MOST_PHOTOS_OF_A_CLAIM}
        raise ValidationError({"photos": _("A claim takes %(most)s photos at most. Please call us.") % most})
    for upload, name in photos:
        try:
            attach_claim_photo(claim=claim, upload=upload, name=name, zone=None, now=now, actor=None)
        except PhotoError as error:
            raise ValidationError({"photos": str(error)}) from error
