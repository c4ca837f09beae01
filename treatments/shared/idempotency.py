"""Takes in forms that may arrive twice, and pictures that arrive before their form.

The key of a form is written in the transaction of what the form records, so that both stand or neither does.
"""

import hashlib
import json
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from typing import IO
from uuid import UUID

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from treatments.models import KeptPhoto, SentForm, User, Zone
from treatments.records.inspections import KeptPicture
from treatments.records.photos import clean_photo

MOST_PHOTOS_OF_A_FORM = 120


class OtherContentError(ValidationError):
    """A form whose key has arrived before with something else in it; ``outcome`` is where the first one is kept."""

    def __init__(self, message: str, outcome: str) -> None:
        super().__init__(message)
        self.outcome = outcome


@dataclass(frozen=True, slots=True)
class Received:
    """Where the record is that came of a form, and when the form first arrived."""

    outcome: str
    recorded_at: datetime
    is_new: bool


def compute_content_sha256(fields: Mapping[str, Iterable[str]]) -> str:
    """Return a SHA-256 over the fields of a form, whatever their order; each field with its values in order."""
    text = json.dumps(sorted((name, list(values)) for name, values in fields.items()), ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()


def find_received(*, key: UUID, person: User | None, purpose: str, content_sha256: str) -> Received | None:
    """Return what came of a form that has arrived before, or None.

    Args:
        person: who sent it; None for a customer, whom the purpose names.

    Raises:
        OtherContentError: where it came with other content or for another purpose.
        ValidationError: where another person sent it.
    """
    sent = SentForm.objects.filter(key=key).first()
    if sent is None:
        return None
    if sent.person_id != (person.pk if person else None):
        raise ValidationError(_("Another person has sent this form already. Open the page anew."), code="other_person")
    if (sent.purpose, sent.content_sha256) != (purpose, content_sha256):
        raise OtherContentError(
            _(
                "This form has arrived already, with other entries than now. Nothing was changed: open what was "
                "recorded, and correct it there."
            ),
            sent.outcome,
        )
    return Received(sent.outcome, sent.recorded_at, is_new=False)


def receive_once(
    *, key: UUID, person: User | None, purpose: str, content_sha256: str, now: datetime, record: Callable[[], str]
) -> Received:
    """Record what a form says, unless this very form has arrived before; then answer with what came of it.

    Two arrivals at the same moment are told apart by the unique key in the database: the second waits for the first.

    Args:
        key: the form's key, given out with the empty form.
        purpose: what the form is for, such as ``treatment of vehicle 12``.
        content_sha256: over the form's fields; see ``compute_content_sha256``.
        record: calls the services and returns the address of the new record; what it raises undoes all.

    Raises:
        OtherContentError: where the key has arrived with other content.
        ValidationError: from ``record``, or where another person sent the form.
    """
    known = find_received(key=key, person=person, purpose=purpose, content_sha256=content_sha256)
    if known:
        return known
    sent = SentForm(key=key, person=person, purpose=purpose, content_sha256=content_sha256, recorded_at=now)
    try:
        with transaction.atomic():
            sent.save()
            sent.outcome = record()
            sent.save(update_fields=["outcome"])
    except IntegrityError as clash:
        # Mostly the same form in another thread, which was first by a moment.
        known = find_received(key=key, person=person, purpose=purpose, content_sha256=content_sha256)
        if known is None:
            raise ValidationError(
                _("Somebody recorded the same at this very moment. Send it again to see what is on record."),
                code="at_once",
            ) from clash
        return known
    return Received(sent.outcome, now, is_new=True)


def _refuse_photo(text: str, code: str, name: str, **params: int) -> ValidationError:
    return ValidationError({"photos": ValidationError(text, code=code, params={"name": name, **params})})


@transaction.atomic
def keep_photo(*, form_key: UUID, person: User, zone: Zone, upload: IO[bytes], name: str, now: datetime) -> KeptPhoto:
    """Keep a picture for a form that is still being filled in, drawn anew; the same file on a zone is kept once.

    Raises:
        PhotoError: naming the file, where it is no picture of a known kind or too large.
        ValidationError: where the form has arrived already, is another person's, or has too many pictures.
    """
    clean = clean_photo(upload, name)
    if SentForm.objects.filter(key=form_key).exists():
        raise _refuse_photo(_("%(name)s: the form was sent already; add the photo to a new inspection."), "sent", name)
    of_form = KeptPhoto.objects.filter(form_key=form_key)
    if of_form.exclude(person=person).exists():
        raise _refuse_photo(_("%(name)s: this form is another person's. Open the page anew."), "other_person", name)
    known = of_form.filter(zone=zone, sha256=clean.sha256).first()
    if known:
        return known
    if of_form.count() >= MOST_PHOTOS_OF_A_FORM:
        raise _refuse_photo(
            _("%(name)s: %(most)s photos are kept already; take some away."),
            "too_many",
            name,
            most=MOST_PHOTOS_OF_A_FORM,
        )
    photo = KeptPhoto(
        form_key=form_key, person=person, zone=zone, sha256=clean.sha256, name=name[:200], recorded_at=now
    )
    photo.image.save(f"{clean.sha256[:16]}.jpg", ContentFile(clean.content), save=False)
    try:
        with transaction.atomic():
            photo.save()
    except IntegrityError:  # the same file at the same moment
        photo.image.delete(save=False)
        return of_form.get(zone=zone, sha256=clean.sha256)
    return photo


def take_kept_photos(*, form_key: UUID, person: User) -> dict[int, tuple[KeptPicture, ...]]:
    """Return the pictures kept for a form by zone, and let go of them; call it in the transaction that records them."""
    taken: dict[int, tuple[KeptPicture, ...]] = {}
    kept = list(KeptPhoto.objects.filter(form_key=form_key, person=person))
    for photo in kept:
        taken[photo.zone_id] = (*taken.get(photo.zone_id, ()), KeptPicture(str(photo.image.name), photo.sha256))
    KeptPhoto.objects.filter(pk__in=[photo.pk for photo in kept]).delete()
    return taken


@transaction.atomic
def drop_photo(*, photo: KeptPhoto) -> None:
    """Take a picture away that was kept for a form."""
    _drop([photo])


@transaction.atomic
def drop_unsent_photos(*, now: datetime) -> int:
    """Take away the pictures that have waited too long for their form, lost with a tablet perhaps; return how many."""
    old = list(KeptPhoto.objects.filter(recorded_at__lt=now - timedelta(days=settings.PHOTOS_WAIT_DAYS)))
    _drop(old)
    return len(old)


def _drop(photos: list[KeptPhoto]) -> None:
    for photo in photos:
        remove_file = partial(photo.image.storage.delete, str(photo.image.name))
        photo.delete()
        # Only once the row is gone for good.
        transaction.on_commit(remove_file)
