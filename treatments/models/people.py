"""Sites, the people who work there, customers and the dealerships that sell cover."""

import hashlib
import zoneinfo
from collections.abc import Iterator
from typing import Any

from django.contrib.auth.models import AbstractUser
from django.core.exceptions import ValidationError
from django.db import models
from django.db.models.functions import Length, Upper
from django.db.models.lookups import Exact
from PIL import Image

from treatments.enums import CorrosivityCategory, PaperSize, Role
from treatments.models.enum_columns import choices_of, one_of
from treatments.rules.explanation import explain
from treatments.rules.site_settings import (
    find_country_fault,
    find_currency_fault,
    find_subdivision_fault,
    find_time_zone_fault,
    find_zone,
    normalise_code,
    normalise_time_zone,
)
from treatments.rules.site_style import find_colour_fault, find_logo_fault, find_paper
from treatments.shared.rendering import render


def check_time_zone(value: str) -> None:
    fault = find_time_zone_fault(value)
    if fault:
        raise ValidationError(render(fault), code=fault.code)


def check_colour(value: str) -> None:
    fault = find_colour_fault(value)
    if fault:
        raise ValidationError(render(fault), code=fault.code)


def check_logo(file: Any) -> None:
    try:
        with Image.open(file) as picture:
            fault = find_logo_fault(picture.format or "", file.size, picture.width, picture.height)
            if fault is None:
                picture.verify()
    except (OSError, SyntaxError, Image.DecompressionBombError):
        fault = explain("site.logo.format")
    finally:
        file.seek(0)
    if fault:
        raise ValidationError(render(fault), code=fault.code)


def is_code_of(column: str, length: int, name: str) -> models.CheckConstraint:
    """Return a constraint that lets a column hold capitals of this number only; which codes there are changes."""
    return models.CheckConstraint(
        condition=Exact(models.F(column), Upper(column)) & Exact(Length(column), length), name=name
    )


class Site(models.Model):
    """A place where the shop works, with its own calendar, time zone and corrosivity."""

    code = models.SlugField(unique=True)
    name = models.CharField(max_length=120)
    address = models.TextField(blank=True)
    postal_code = models.CharField(max_length=16, blank=True)
    country = models.CharField(max_length=2, default="US", help_text="ISO 3166-1 alpha-2")
    subdivision = models.CharField(max_length=3, blank=True, help_text="ISO 3166-2 part, for public holidays")
    time_zone = models.CharField(max_length=64, default="UTC", validators=[check_time_zone])
    currency = models.CharField(max_length=3, default="USD", help_text="ISO 4217")
    corrosivity = models.CharField(
        max_length=2,
        choices=choices_of(CorrosivityCategory),
        default=CorrosivityCategory.C3,
        help_text="ISO 9223",
    )
    email = models.EmailField(blank=True)
    phone = models.CharField(max_length=40, blank=True)
    paper = models.CharField(
        max_length=6, blank=True, choices=choices_of(PaperSize), help_text="blank for what the country uses"
    )
    colour = models.CharField(
        max_length=7, blank=True, validators=[check_colour], help_text="of documents, such as #1d6b5f; dark"
    )
    logo = models.ImageField(
        upload_to="logos/", blank=True, validators=[check_logo], help_text="PNG or JPEG, up to 500 kB, on documents"
    )

    class Meta:
        ordering = ["code"]
        constraints = [
            one_of(PaperSize, "paper", "site_paper_known", blank=True),
            one_of(CorrosivityCategory, "corrosivity", "site_corrosivity_known"),
            is_code_of("country", 2, "site_country_is_code"),
            is_code_of("currency", 3, "site_currency_is_code"),
            models.CheckConstraint(
                condition=Exact(models.F("subdivision"), Upper("subdivision")), name="site_subdivision_is_code"
            ),
            models.CheckConstraint(condition=~models.Q(time_zone=""), name="site_has_time_zone"),
        ]

    def __str__(self) -> str:
        return self.name

    def save(self, *args: Any, **kwargs: Any) -> None:
        self.normalise()
        super().save(*args, **kwargs)

    @property
    def clock(self) -> zoneinfo.ZoneInfo:
        """The time zone; UTC where it is none, so that a page that shows a moment does not fail."""
        return find_zone(self.time_zone)

    @property
    def paper_size(self) -> PaperSize:
        """The paper of documents: the site's own choice, else that of its country."""
        return PaperSize(self.paper) if self.paper else find_paper(self.country)

    def normalise(self) -> None:
        """Write what is plain as the standards do: us is US."""
        self.country, self.currency = normalise_code(self.country), normalise_code(self.currency)
        self.subdivision = normalise_code(self.subdivision)
        self.time_zone = normalise_time_zone(self.time_zone)
        self.colour = self.colour.strip().lower()

    def clean_fields(self, exclude: Any = None) -> None:
        """Refuse settings from which no calendar and no clock can be told, field by field."""
        self.normalise()
        left_out = set(exclude or ())
        faults: dict[str, Any] = {}
        try:
            super().clean_fields(exclude=exclude)
        except ValidationError as error:
            faults = error.update_error_dict({})
        found = {
            "country": find_country_fault(self.country),
            "subdivision": find_subdivision_fault(self.country, self.subdivision),
            "currency": find_currency_fault(self.currency),
        }
        if found["country"]:
            found["subdivision"] = None  # nothing can be said of a part of no country
        for name, fault in found.items():
            if fault and name not in left_out and name not in faults:
                faults[name] = [ValidationError(render(fault), code=fault.code)]
        if faults:
            raise ValidationError(faults)


class Dealership(models.Model):
    """A dealer that sold cover and may see only the vehicles that it sold it for."""

    code = models.SlugField(unique=True)
    name = models.CharField(max_length=120)
    email = models.EmailField(blank=True)
    phone = models.CharField(max_length=40, blank=True)

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return self.name


# What a person may do, and by which password; each change is an event.
RECORDED_FIELDS = {
    "role", "site", "site_id", "dealership", "dealership_id", "is_active", "is_staff", "is_superuser", "password",
}  # fmt: skip


class User(AbstractUser):
    """A person who can log in, with one role; ``save`` and ``delete`` record who may get in, by whichever door.

    What writes past them is no event: ``QuerySet.update``, ``bulk_create``, ``bulk_update`` and ``loaddata``. Of
    somebody whom an event tells of, ``verify_log`` finds it.
    """

    # Who makes a change, for its event; set it before saving. None where nobody is logged in, as in a shell.
    changed_by: "User | None" = None
    _checks_password = False

    role = models.CharField(max_length=24, choices=choices_of(Role), default=Role.SERVICE_WRITER)
    site = models.ForeignKey(Site, null=True, blank=True, on_delete=models.PROTECT, related_name="people")
    dealership = models.ForeignKey(Dealership, null=True, blank=True, on_delete=models.PROTECT, related_name="people")

    @property
    def is_dealership(self) -> bool:
        """Whether the person is of a dealership, who sees only what that one sold."""
        return self.role == Role.DEALERSHIP

    def save(self, *args: Any, **options: Any) -> None:
        from treatments.event_log.access import recording_access

        fields = options.get("update_fields")
        if fields is not None and not RECORDED_FIELDS.intersection(fields):
            # A log-in notes its moment, no more.
            super().save(*args, **options)
            return
        with recording_access(self, is_same_password=self._checks_password):
            super().save(*args, **options)

    def delete(self, *args: Any, **options: Any) -> tuple[int, dict[str, int]]:
        from treatments.event_log.access import recording_access

        with recording_access(self):
            return super().delete(*args, **options)

    def check_password(self, raw_password: str | None) -> bool:
        """Say whether this is the password; Django may hash it anew then, which is no change of it."""
        self._checks_password = True
        try:
            return super().check_password(raw_password)
        finally:
            self._checks_password = False

    def get_session_auth_hash(self) -> str:
        """Return what a session is held to: with another password, role or dealership it ends."""
        return self._with_rights(super().get_session_auth_hash())

    def get_session_auth_fallback_hash(self) -> Iterator[str]:
        """Return the same under the keys of before, so that a new key ends no session."""
        return map(self._with_rights, super().get_session_auth_fallback_hash())

    def _with_rights(self, of_password: str) -> str:
        rights = (str(self.role), self.is_staff, self.is_superuser, self.site_id, self.dealership_id)
        return hashlib.sha256(repr((of_password, *rights)).encode()).hexdigest()

    class Meta(AbstractUser.Meta):
        constraints = [
            one_of(Role, "role", "user_role_known"),
            models.CheckConstraint(
                condition=models.Q(role=Role.DEALERSHIP, dealership__isnull=False)
                | (~models.Q(role=Role.DEALERSHIP) & models.Q(dealership__isnull=True)),
                name="user_dealership_goes_with_role",
            ),
        ]


class Customer(models.Model):
    """Somebody whose vehicle was treated. One row per name and contact as the shop wrote them."""

    name = models.CharField(max_length=200)
    contact = models.CharField(max_length=200, blank=True, help_text="as entered: e-mail or telephone")
    email = models.EmailField(blank=True)
    phone = models.CharField(max_length=40, blank=True)
    address = models.TextField(blank=True)
    language = models.CharField(max_length=8, default="en")
    match_key = models.CharField(max_length=420, unique=True, editable=False)
    messages_stopped_at = models.DateTimeField(null=True, blank=True)
    created_at = models.DateTimeField()

    class Meta:
        ordering = ["name", "id"]
        constraints = [
            models.CheckConstraint(condition=~models.Q(name=""), name="customer_has_a_name"),
        ]

    def __str__(self) -> str:
        return self.name
