"""Warranty terms, covers and their changes; and the rebuildable index of cover states and due items. Filters of the
due list that a person keeps under a name, so that a morning's lists are one press away.
"""

from typing import Any

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import models
from django.db.models.functions import Replace
from django.db.models.lookups import Exact

from scheduling.covers.rules.due import DueKind, DueStatus
from scheduling.covers.rules.ends import CoverStatus
from scheduling.enums import CoverChangeKind
from treatments.models import Customer, Dealership, Site, Vehicle
from treatments.models.enum_columns import choices_of, one_of
from treatments.rules.site_settings import WEEKDAYS, find_weekdays_fault, normalise_weekdays
from treatments.shared.rendering import render, render_all


def _leave_out_weekdays() -> Any:
    """Return the column of open weekdays without the numbers of the weekdays."""
    left: Any = models.F("open_weekdays")
    for number in WEEKDAYS:
        left = Replace(left, models.Value(number), models.Value(""))
    return left


class SiteCalendar(models.Model):
    """On which weekdays a site is open, and whether it closes on public holidays."""

    site = models.OneToOneField(Site, primary_key=True, on_delete=models.CASCADE, related_name="calendar")
    open_weekdays = models.CharField(
        max_length=7, default="12345", help_text="ISO 8601 weekday numbers, 1 is Monday, e.g. 12345"
    )
    closed_on_public_holidays = models.BooleanField(default=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=~models.Q(open_weekdays=""), name="site_opens_on_some_day"),
            # Without the digits of the weekdays nothing is left; every database can tell that.
            models.CheckConstraint(
                condition=Exact(_leave_out_weekdays(), models.Value("")), name="open_days_are_weekdays"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.site}: {self.open_weekdays}"

    def save(self, *args: Any, **kwargs: Any) -> None:
        self.open_weekdays = normalise_weekdays(self.open_weekdays)
        super().save(*args, **kwargs)

    def clean_fields(self, exclude: Any = None) -> None:
        """Refuse what names no weekday."""
        self.open_weekdays = normalise_weekdays(self.open_weekdays)
        super().clean_fields(exclude=exclude)
        fault = find_weekdays_fault(self.open_weekdays)
        if fault and "open_weekdays" not in set(exclude or ()):
            raise ValidationError({"open_weekdays": ValidationError(render(fault), code=fault.code)})


class ClosedDay(models.Model):
    """A day on which a site is closed besides its weekdays off and the public holidays."""

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="closed_days")
    day = models.DateField()
    reason = models.CharField(max_length=120)

    class Meta:
        ordering = ["site_id", "day"]
        constraints = [models.UniqueConstraint(fields=["site", "day"], name="closed_day_once")]

    def __str__(self) -> str:
        return f"{self.day} {self.reason}"


class WarrantyTerms(models.Model):
    """A family of terms under one code; each change to it is a new version."""

    code = models.SlugField(unique=True)
    title = models.CharField(max_length=160)

    class Meta:
        ordering = ["code"]
        verbose_name_plural = "warranty terms"

    def __str__(self) -> str:
        return self.title


class TermsVersion(models.Model):
    """One version of the terms as a document that scheduling.terms.rules.terms reads. Immutable once published."""

    terms = models.ForeignKey(WarrantyTerms, on_delete=models.PROTECT, related_name="versions")
    version = models.PositiveIntegerField()
    document = models.JSONField()
    published_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["terms_id", "version"]
        constraints = [models.UniqueConstraint(fields=["terms", "version"], name="terms_version_once")]

    def __str__(self) -> str:
        return f"{self.terms.code} version {self.version}"

    @property
    def title(self) -> str:
        """What this version calls itself; a later version may have another title."""
        return str(self.document.get("title", self.terms.title))


class SiteTerms(models.Model):
    """Under which terms a site registers first treatments that come without a cover of their own."""

    site = models.OneToOneField(Site, primary_key=True, on_delete=models.CASCADE, related_name="usual_terms")
    terms_version = models.ForeignKey(TermsVersion, on_delete=models.PROTECT, related_name="+")

    def __str__(self) -> str:
        return f"{self.site}: {self.terms_version}"


class Cover(models.Model):
    """A vehicle under one version of terms. Its state on a day is computed, see queries.read_cover_on."""

    number = models.CharField(max_length=24, unique=True)
    vehicle = models.ForeignKey(Vehicle, on_delete=models.PROTECT, related_name="covers")
    terms_version = models.ForeignKey(TermsVersion, on_delete=models.PROTECT, related_name="covers")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="covers")
    holder = models.ForeignKey(Customer, null=True, blank=True, on_delete=models.PROTECT, related_name="covers")
    dealership = models.ForeignKey(Dealership, null=True, blank=True, on_delete=models.PROTECT, related_name="covers")
    sold_on = models.DateField()
    registered_on = models.DateField()
    ended_on = models.DateField(null=True, blank=True)
    end_reason = models.CharField(max_length=200, blank=True)
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["number"]
        constraints = [
            models.UniqueConstraint(
                fields=["vehicle"],
                condition=models.Q(ended_on__isnull=True),
                name="one_open_cover_per_vehicle",
            ),
            models.CheckConstraint(
                condition=models.Q(ended_on__isnull=True) | ~models.Q(end_reason=""),
                name="cover_end_says_why",
            ),
        ]

    def __str__(self) -> str:
        return self.number


class CoverChange(models.Model):
    """A change that a person made to a cover, with the day it counts from and the reason."""

    cover = models.ForeignKey(Cover, on_delete=models.PROTECT, related_name="changes")
    kind = models.CharField(max_length=24, choices=choices_of(CoverChangeKind))
    day = models.DateField()
    due_key = models.CharField(max_length=80, blank=True, help_text="the due item that was waived")
    from_version = models.ForeignKey(TermsVersion, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    to_version = models.ForeignKey(TermsVersion, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    reason = models.CharField(max_length=300)
    actor = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["cover_id", "day", "id"]
        constraints = [
            one_of(CoverChangeKind, "kind", "cover_change_kind_known"),
            models.CheckConstraint(condition=~models.Q(reason=""), name="cover_change_says_why"),
        ]

    def __str__(self) -> str:
        return f"{self.cover}: {self.get_kind_display()} on {self.day}"


_NARROWED = ("due_opens_on", "reinspection_opens_on", "touch_up_opens_on", "booked_on")


class CoverState(models.Model):
    """The last computed state of a cover: an index that recompute rebuilds, never the truth.

    It also holds what the due list is sorted and narrowed by, so that a page of it reads one index: the dates of the
    most pressing due item, and whose the cover is.
    """

    cover = models.OneToOneField(Cover, primary_key=True, on_delete=models.CASCADE, related_name="last_state")
    status = models.CharField(max_length=12, choices=choices_of(CoverStatus))
    since = models.DateField(null=True, blank=True)
    last_day = models.DateField(null=True, blank=True)
    percent = models.DecimalField(max_digits=5, decimal_places=2, default=100)
    explanations = models.JSONField(help_text="code and params of what explains the state")
    recheck_on = models.DateField(
        null=True, blank=True, help_text="the first day on which the answer may be another; none: only a record can"
    )
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="+")
    dealership = models.ForeignKey(Dealership, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    due_opens_on = models.DateField(null=True, blank=True)
    due_last_on = models.DateField(null=True, blank=True)
    due_grace_until = models.DateField(null=True, blank=True)
    reinspection_opens_on = models.DateField(null=True, blank=True)
    touch_up_opens_on = models.DateField(null=True, blank=True)
    last_seen_on = models.DateField(null=True, blank=True, help_text="the last treatment or inspection")
    corrosivity = models.CharField(max_length=2, default="C3", help_text="ISO 9223, of the place of use")
    risk_on = models.DateField(
        null=True, blank=True, help_text="the day by which bare steel in that place would have lost a set depth"
    )
    booked_on = models.DateField(
        null=True, blank=True, help_text="the day of the next appointment that serves what is due"
    )
    log_position = models.BigIntegerField(default=0, help_text="of the event log from which this was computed")

    class Meta:
        indexes = [
            models.Index(fields=["status"]),
            models.Index(fields=["recheck_on"], name="state_recheck"),
            # The place in the list first, then all that narrows it, so that a row is read only where it is shown.
            models.Index(fields=["due_grace_until", "cover", "due_last_on", *_NARROWED], name="due_by_grace"),
            models.Index(fields=["due_last_on", "cover", *_NARROWED], name="due_by_last"),
            models.Index(fields=["due_opens_on", "cover", *_NARROWED[1:]], name="due_by_opening"),
            models.Index(fields=["risk_on", "cover", "due_grace_until", "due_last_on", *_NARROWED], name="due_by_risk"),
            models.Index(
                fields=["site", "due_grace_until", "cover", "due_last_on", *_NARROWED], name="due_by_site_grace"
            ),
            models.Index(fields=["site", "due_last_on", "cover", *_NARROWED], name="due_by_site_last"),
            models.Index(fields=["site", "due_opens_on", "cover", *_NARROWED[1:]], name="due_by_site_opening"),
            models.Index(
                fields=["site", "risk_on", "cover", "due_grace_until", "due_last_on", *_NARROWED],
                name="due_by_site_risk",
            ),
            models.Index(fields=["dealership", "due_grace_until", "cover"], name="due_by_dealership"),
            # The few that are booked; those that are not are nearly all, and found by walking the list.
            models.Index(
                fields=["due_grace_until", "cover", "due_last_on", *_NARROWED[:-1], "site"],
                condition=models.Q(booked_on__isnull=False),
                name="due_and_booked",
            ),
            models.Index(
                fields=["risk_on", "cover", "due_grace_until", "due_last_on", *_NARROWED[:-1], "site"],
                condition=models.Q(booked_on__isnull=False),
                name="booked_by_risk",
            ),
        ]
        constraints = [one_of(CoverStatus, "status", "cover_status_known")]

    def __str__(self) -> str:
        return f"{self.cover} {self.status}"


class CoverFault(models.Model):
    """Why a cover could not be computed when that was tried last. Beside the index, and gone once it can be."""

    cover = models.OneToOneField(Cover, primary_key=True, on_delete=models.CASCADE, related_name="fault")
    explanations = models.JSONField(help_text="code and params of what is wrong and what to do")
    found_at = models.DateTimeField()

    class Meta:
        ordering = ["cover_id"]

    def __str__(self) -> str:
        return f"{self.cover}: {render_all(self.explanations)}"


class DueItem(models.Model):
    """The last computed due items of a cover: an index that recompute rebuilds, never the truth."""

    cover = models.ForeignKey(Cover, on_delete=models.CASCADE, related_name="due_items")
    key = models.CharField(max_length=80)
    kind = models.CharField(max_length=16, choices=choices_of(DueKind))
    zones = models.JSONField(default=list)
    opens_on = models.DateField()
    target_on = models.DateField()
    last_on = models.DateField()
    grace_until = models.DateField()
    status = models.CharField(max_length=12, choices=choices_of(DueStatus))
    reasons = models.JSONField(help_text="explanations of the target day and of what became of it, in order")
    why_opens = models.JSONField()
    why_last = models.JSONField()
    why_grace = models.JSONField()

    class Meta:
        ordering = ["target_on", "id"]
        indexes = [
            models.Index(fields=["target_on", "id"], name="due_item_by_target"),
            models.Index(fields=["opens_on"], name="due_item_by_opening"),
        ]
        constraints = [
            one_of(DueKind, "kind", "due_kind_known"),
            one_of(DueStatus, "status", "due_status_known"),
            models.UniqueConstraint(fields=["cover", "key"], name="due_item_once"),
            models.CheckConstraint(
                condition=models.Q(opens_on__lte=models.F("target_on"))
                & models.Q(target_on__lte=models.F("last_on"))
                & models.Q(last_on__lte=models.F("grace_until")),
                name="due_dates_in_order",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.target_on}"


class RecomputeRun(models.Model):
    """One rebuild of the index for a day: of every cover, or of those whose answer may have changed."""

    as_of = models.DateField()
    whole = models.BooleanField()
    started_at = models.DateTimeField()
    finished_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["whole"],
                condition=models.Q(finished_at__isnull=True, whole=True),
                name="one_unfinished_whole_run",
            ),
            models.UniqueConstraint(
                fields=["whole"],
                condition=models.Q(finished_at__isnull=True, whole=False),
                name="one_unfinished_run",
            ),
        ]

    def __str__(self) -> str:
        return f"run {self.pk} for {self.as_of}"


class RecomputeRange(models.Model):
    """Some covers of a run by key, both ends included. A worker computes it and marks it in one transaction."""

    run = models.ForeignKey(RecomputeRun, on_delete=models.CASCADE, related_name="ranges")
    first_cover = models.BigIntegerField()
    last_cover = models.BigIntegerField()
    finished_at = models.DateTimeField(null=True, blank=True)
    covers = models.PositiveIntegerField(default=0)
    states_written = models.PositiveIntegerField(default=0)
    items_written = models.PositiveIntegerField(default=0)
    items_removed = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ["run_id", "first_cover"]
        constraints = [
            models.UniqueConstraint(fields=["run", "first_cover"], name="range_once"),
            models.CheckConstraint(
                condition=models.Q(first_cover__lte=models.F("last_cover")), name="range_ends_after_it_starts"
            ),
        ]
        indexes = [
            models.Index(fields=["run", "first_cover"], condition=models.Q(finished_at__isnull=True), name="range_open")
        ]

    def __str__(self) -> str:
        return f"{self.run}: {self.first_cover} to {self.last_cover}"


class SavedFilter(models.Model):
    """One kept filter: the query of the due list's address, as the list itself writes it."""

    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="saved_filters")
    name = models.CharField(max_length=60)
    query = models.CharField(max_length=400)

    class Meta:
        ordering = ["user_id", "name"]
        constraints = [
            models.UniqueConstraint(fields=["user", "name"], name="saved_filter_once_per_name"),
            models.CheckConstraint(condition=~models.Q(name="") & ~models.Q(query=""), name="saved_filter_says_what"),
        ]

    def __str__(self) -> str:
        return self.name
