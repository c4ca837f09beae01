"""One-time codes at log-in (RFC 6238): setting them up, checking one, and recovery codes for a lost telephone."""

import time
from base64 import b32encode
from dataclasses import dataclass
from datetime import datetime
from urllib.parse import quote, urlencode

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _
from django_otp import devices_for_user, user_has_device
from django_otp.oath import TOTP
from django_otp.plugins.otp_static.models import StaticDevice, StaticToken
from django_otp.plugins.otp_totp.models import TOTPDevice

from treatments.event_log import Happening, record_events
from treatments.models import User

RECOVERY_CODES = 10
APP_CODE_DIGITS = 6


@dataclass(frozen=True)
class CodeCheck:
    """What became of a code.

    Attributes:
        is_used: the code of the app is right, but was used already; the next one opens.
        locked_until: when the next code is looked at, where one was wrong; until then none is.
        is_looked_at: whether the code was compared at all.
    """

    is_right: bool = False
    is_used: bool = False
    locked_until: datetime | None = None
    is_looked_at: bool = True


def has_codes(person: User) -> bool:
    """Say whether a person logs in with a code."""
    return bool(user_has_device(person))


def must_have_codes(person: User) -> bool:
    """Say whether the shop asks for codes of everybody with this person's role."""
    return person.role in settings.LOG_IN_CODES_REQUIRED_OF


@transaction.atomic
def check_code(person: User, code: str) -> CodeCheck:
    """Compare a code; a recovery code is right once. After each wrong one the next must wait twice as long."""
    code = code.replace(" ", "")
    is_of_app = code.isdecimal() and len(code) == APP_CODE_DIGITS
    check = CodeCheck()
    # Each kind is locked by itself: a code of the app can't be a wrong recovery code.
    for device in devices_for_user(person, for_verify=True):
        if isinstance(device, TOTPDevice) is not is_of_app:
            continue
        if until := _read_lock(device):
            return CodeCheck(locked_until=until, is_looked_at=False)
        if isinstance(device, TOTPDevice) and _was_used(device, int(code)):
            return CodeCheck(is_used=True)
        if device.verify_token(code):
            return CodeCheck(is_right=True)
        check = CodeCheck(locked_until=_read_lock(device))
    return check


def _read_lock(device: TOTPDevice | StaticDevice) -> datetime | None:
    is_allowed, why = device.verify_is_allowed()
    return None if is_allowed else why["locked_until"]


def _was_used(device: TOTPDevice, code: int) -> bool:
    """Say whether this is a code of just now, but not a later one than that which was used last."""
    totp = TOTP(device.bin_key, device.step, device.t0, device.digits, device.drift)
    totp.time = time.time()
    is_of_now = totp.verify(code, device.tolerance)
    return bool(is_of_now and totp.t() <= device.last_t)


def find_unconfirmed(person: User) -> TOTPDevice | None:
    """Return the set-up that a person began and has not confirmed by a first code."""
    found: TOTPDevice | None = TOTPDevice.objects.filter(user=person, confirmed=False).first()
    return found


def make_address_for_app(device: TOTPDevice) -> str:
    """Return the address that an app for codes reads from the picture."""
    issuer = settings.LOG_IN_CODES_ISSUER
    label = quote(f"{issuer}:{device.user.get_username()}")
    return f"otpauth://totp/{label}?{urlencode({'secret': make_secret_text(device), 'issuer': issuer})}"


def make_secret_text(device: TOTPDevice) -> str:
    """Return the secret to be typed into an app where its camera can't be used."""
    return b32encode(device.bin_key).decode().rstrip("=")


@transaction.atomic
def begin_codes(*, person: User) -> TOTPDevice:
    """Make a secret for a person's app; it counts once a first code has confirmed it."""
    TOTPDevice.objects.filter(user=person, confirmed=False).delete()
    made: TOTPDevice = TOTPDevice.objects.create(user=person, name="app", confirmed=False)
    return made


@transaction.atomic
def confirm_codes(*, person: User, code: str, now: datetime) -> list[str]:
    """Count the set-up that was begun from now on, and return the recovery codes, which are never shown again.

    Raises:
        ValidationError: where none was begun, or the code is not the one that the app shows.
    """
    device = find_unconfirmed(person)
    if device is None or not device.verify_token(code.replace(" ", "")):
        raise ValidationError(
            {
                "code": ValidationError(
                    _("This is not the code of the app just now. Type the one that it shows; its clock must be right."),
                    code="wrong_code",
                )
            }
        )
    TOTPDevice.objects.filter(user=person, confirmed=True).delete()
    device.confirmed = True
    device.save()
    record_events([Happening("user.codes_set_up", "user", str(person.pk))], actor=person, now=now)
    return _make_recovery_codes(person)


@transaction.atomic
def renew_recovery_codes(*, person: User, now: datetime) -> list[str]:
    """Return new recovery codes; those before open nothing any more."""
    record_events([Happening("user.recovery_codes_renewed", "user", str(person.pk))], actor=person, now=now)
    return _make_recovery_codes(person)


@transaction.atomic
def stop_codes(*, person: User, now: datetime) -> None:
    """Let a person log in without codes again.

    Raises:
        ValidationError: where the shop asks for codes of this role.
    """
    if must_have_codes(person):
        raise ValidationError(
            _("Your role logs in with a code; ask the owner of the shop where that is wrong."), code="code_required"
        )
    TOTPDevice.objects.filter(user=person).delete()
    StaticDevice.objects.filter(user=person).delete()
    record_events([Happening("user.codes_stopped", "user", str(person.pk))], actor=person, now=now)


def _make_recovery_codes(person: User) -> list[str]:
    StaticDevice.objects.filter(user=person).delete()
    device = StaticDevice.objects.create(user=person, name="recovery")
    codes = [StaticToken.random_token() for _ in range(RECOVERY_CODES)]
    StaticToken.objects.bulk_create(StaticToken(device=device, token=code) for code in codes)
    return codes
