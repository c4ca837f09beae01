"""What a site has to work with: opening hours, bays with their limits, people with skills and hours, durations.

All of it is data that the shop keeps; nothing here is decided by the program.
"""

from django.conf import settings
from django.db import models

from scheduling.enums import BayKind, Skill, VisitKind
from treatments.enums import BodyStyle
from treatments.models import Site, Vehicle
from treatments.models.enum_columns import choices_of, one_of

WEEKDAYS = models.Q(weekday__gte=1, weekday__lte=7)


class SiteHours(models.Model):
    """When a site works on a weekday; two rows make a break between them. Without rows: see rules.opening."""

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="hours")
    weekday = models.PositiveSmallIntegerField(help_text="ISO 8601, 1 is Monday")
    opens_at = models.TimeField()
    closes_at = models.TimeField()

    class Meta:
        ordering = ["site_id", "weekday", "opens_at"]
        verbose_name_plural = "site hours"
        constraints = [
            models.UniqueConstraint(fields=["site", "weekday", "opens_at"], name="site_hours_once"),
            models.CheckConstraint(condition=models.Q(opens_at__lt=models.F("closes_at")), name="site_hours_in_order"),
            models.CheckConstraint(condition=WEEKDAYS, name="site_hours_weekday"),
        ]

    def __str__(self) -> str:
        return f"{self.site} {self.weekday}: {self.opens_at:%H:%M} to {self.closes_at:%H:%M}"


class Bay(models.Model):
    """A place in which one vehicle at a time is worked on. A limit left blank is one that nobody has stated."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="bays")
    code = models.SlugField(max_length=24)
    name = models.CharField(max_length=80)
    kind = models.CharField(max_length=8, choices=choices_of(BayKind))
    most_height_mm = models.PositiveIntegerField(
        null=True, blank=True, help_text="tallest vehicle that fits, on the lift raised to working height"
    )
    most_mass_kg = models.PositiveIntegerField(
        null=True, blank=True, help_text="rated capacity of the lift, as its maker's plate says"
    )
    in_use = models.BooleanField(default=True)

    class Meta:
        ordering = ["site_id", "code"]
        constraints = [
            models.UniqueConstraint(fields=["site", "code"], name="bay_code_once_per_site"),
            one_of(BayKind, "kind", "bay_kind_known"),
        ]

    def __str__(self) -> str:
        return self.name


class BayClosure(models.Model):
    """A time for which a bay can't be used, such as the yearly examination of its lift."""

    bay = models.ForeignKey(Bay, on_delete=models.CASCADE, related_name="closures")
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    reason = models.CharField(max_length=120)

    class Meta:
        ordering = ["bay_id", "starts_at"]
        constraints = [
            models.CheckConstraint(condition=models.Q(starts_at__lt=models.F("ends_at")), name="bay_closure_in_order"),
        ]

    def __str__(self) -> str:
        return f"{self.bay}: {self.reason}"


class PersonHours(models.Model):
    """When a person works on a weekday; without any row a person works whenever the site is open."""

    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="hours")
    weekday = models.PositiveSmallIntegerField(help_text="ISO 8601, 1 is Monday")
    starts_at = models.TimeField()
    ends_at = models.TimeField()

    class Meta:
        ordering = ["person_id", "weekday", "starts_at"]
        verbose_name_plural = "person hours"
        constraints = [
            models.UniqueConstraint(fields=["person", "weekday", "starts_at"], name="person_hours_once"),
            models.CheckConstraint(condition=models.Q(starts_at__lt=models.F("ends_at")), name="person_hours_in_order"),
            models.CheckConstraint(condition=WEEKDAYS, name="person_hours_weekday"),
        ]

    def __str__(self) -> str:
        return f"{self.person} {self.weekday}: {self.starts_at:%H:%M} to {self.ends_at:%H:%M}"


class PersonSkill(models.Model):
    """What a person may be booked for."""

    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="skills")
    skill = models.CharField(max_length=16, choices=choices_of(Skill))

    class Meta:
        ordering = ["person_id", "skill"]
        constraints = [
            models.UniqueConstraint(fields=["person", "skill"], name="person_skill_once"),
            one_of(Skill, "skill", "person_skill_known"),
        ]

    def __str__(self) -> str:
        return f"{self.person}: {self.get_skill_display()}"


class Absence(models.Model):
    """A time at which a person is away."""

    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="absences")
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()

    class Meta:
        ordering = ["person_id", "starts_at"]
        constraints = [
            models.CheckConstraint(condition=models.Q(starts_at__lt=models.F("ends_at")), name="absence_in_order"),
        ]

    def __str__(self) -> str:
        return f"{self.person} away"


class WorkDuration(models.Model):
    """How long a kind of visit takes. The row that says most about site and body style counts."""

    site = models.ForeignKey(Site, null=True, blank=True, on_delete=models.CASCADE, related_name="durations")
    visit = models.CharField(max_length=20, choices=choices_of(VisitKind))
    body_style = models.CharField(max_length=16, choices=choices_of(BodyStyle), blank=True)
    bay_kind = models.CharField(max_length=8, choices=choices_of(BayKind), default=BayKind.LIFT)
    skill = models.CharField(max_length=16, choices=choices_of(Skill), default=Skill.SPRAYING)
    wash_and_dry_minutes = models.PositiveSmallIntegerField(default=0)
    work_minutes = models.PositiveSmallIntegerField()
    minutes_per_zone = models.PositiveSmallIntegerField(default=0, help_text="for each zone that is due")
    standing_minutes = models.PositiveSmallIntegerField(
        default=0, help_text="before the vehicle may leave; see the product maker's data sheet"
    )
    stands_in_bay = models.BooleanField(default=False, help_text="the bay stays taken while the vehicle stands")

    class Meta:
        ordering = ["visit", "body_style", "site_id"]
        constraints = [
            one_of(VisitKind, "visit", "duration_visit_known"),
            one_of(BodyStyle, "body_style", "duration_style_known", blank=True),
            one_of(BayKind, "bay_kind", "duration_bay_known"),
            one_of(Skill, "skill", "duration_skill_known"),
            models.UniqueConstraint(fields=["site", "visit", "body_style"], name="duration_once_per_site"),
            # A constraint of its own, since NULL differs from NULL.
            models.UniqueConstraint(
                fields=["visit", "body_style"], condition=models.Q(site__isnull=True), name="duration_once_everywhere"
            ),
            models.CheckConstraint(condition=models.Q(work_minutes__gt=0), name="duration_takes_time"),
        ]

    def __str__(self) -> str:
        return f"{self.get_visit_display()} {self.get_body_style_display()}".strip()


class BodyStyleSize(models.Model):
    """The usual height and mass of a body style, for a vehicle whose own are not on record."""

    body_style = models.CharField(max_length=16, choices=choices_of(BodyStyle), unique=True)
    height_mm = models.PositiveIntegerField()
    mass_kg = models.PositiveIntegerField(help_text="with what it usually carries")

    class Meta:
        ordering = ["body_style"]
        constraints = [one_of(BodyStyle, "body_style", "size_style_known")]

    def __str__(self) -> str:
        return f"{self.get_body_style_display()}: {self.height_mm} mm, {self.mass_kg} kg"


class VehicleSize(models.Model):
    """The measured height and mass of one vehicle, with racks, plough or tools as it comes."""

    vehicle = models.OneToOneField(Vehicle, primary_key=True, on_delete=models.CASCADE, related_name="size")
    height_mm = models.PositiveIntegerField(null=True, blank=True)
    mass_kg = models.PositiveIntegerField(null=True, blank=True)

    def __str__(self) -> str:
        return f"{self.vehicle}: {self.height_mm} mm, {self.mass_kg} kg"
