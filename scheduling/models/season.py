"""The plan of a season: a proposal of days, kept so that a person can accept it whole or in part, and plan anew.

Also what a customer has said about days, which the plan and every proposal of times begin from.
"""

from django.conf import settings
from django.db import models

from scheduling.enums import PartOfDay, ProposalStatus
from scheduling.models.appointments import Appointment
from scheduling.models.bays import Bay
from scheduling.models.covers import Cover
from treatments.models import Customer, Site
from treatments.models.enum_columns import choices_of, one_of


class CustomerWish(models.Model):
    """On which days and when in the day a customer would rather come."""

    customer = models.OneToOneField(Customer, primary_key=True, on_delete=models.CASCADE, related_name="wish")
    weekdays = models.CharField(max_length=7, blank=True, help_text="ISO 8601 weekday numbers, 1 is Monday, e.g. 125")
    part_of_day = models.CharField(max_length=10, choices=choices_of(PartOfDay), blank=True)

    class Meta:
        constraints = [one_of(PartOfDay, "part_of_day", "wish_part_of_day_known", blank=True)]

    def __str__(self) -> str:
        return f"{self.customer}: {self.weekdays} {self.part_of_day}"


class SeasonPlan(models.Model):
    """One plan. It reserves nothing; a newer one takes its place.

    It is asked for first and worked out by a task: a large season takes minutes.
    """

    sites = models.ManyToManyField(Site, related_name="season_plans")
    first_day = models.DateField()
    last_day = models.DateField()
    as_of = models.DateField()
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    totals = models.JSONField(default=dict, help_text="what it comes to, beside first come, first served")
    leased_until = models.DateTimeField(null=True, blank=True, help_text="a worker is at it; later another may")
    step = models.PositiveSmallIntegerField(default=0, help_text="how far the worker is, a SeasonStep")
    finished_at = models.DateTimeField(null=True, blank=True, help_text="none: it is asked for, not worked out yet")
    failure = models.JSONField(null=True, blank=True, help_text="code and params of why there is no plan after all")

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(condition=models.Q(first_day__lte=models.F("last_day")), name="season_in_order"),
            models.CheckConstraint(
                condition=models.Q(failure__isnull=True) | models.Q(finished_at__isnull=False),
                name="failed_plan_is_finished",
            ),
        ]

    def __str__(self) -> str:
        return f"season {self.first_day} to {self.last_day}"


class SeasonProposal(models.Model):
    """The day that a plan proposes for one cover's visit, and what became of the proposal."""

    plan = models.ForeignKey(SeasonPlan, on_delete=models.CASCADE, related_name="proposals")
    cover = models.ForeignKey(Cover, on_delete=models.PROTECT, related_name="+")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="+")
    bay = models.ForeignKey(Bay, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    day = models.DateField(null=True, blank=True, help_text="none: no day of the season has room")
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    begins_at = models.TimeField(null=True, blank=True, help_text="the time of day at the site")
    lapses = models.BooleanField(default=False, help_text="the cover lapses before that day, or for want of one")
    why = models.JSONField(help_text="code and params of why it stands there, or nowhere")
    status = models.CharField(max_length=12, choices=choices_of(ProposalStatus), default=ProposalStatus.OPEN)
    asked_at = models.DateTimeField(null=True, blank=True, help_text="when a person wanted it booked")
    asked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    leased_until = models.DateTimeField(null=True, blank=True, help_text="a worker is at it; later another may")
    refusal = models.JSONField(
        null=True, blank=True, help_text="code and params of why it could not be booked when it was accepted"
    )
    appointment = models.OneToOneField(
        Appointment, null=True, blank=True, on_delete=models.PROTECT, related_name="proposal"
    )

    class Meta:
        ordering = ["plan_id", "day", "id"]
        indexes = [models.Index(fields=["plan", "day", "id"], name="proposal_by_day")]
        constraints = [
            one_of(ProposalStatus, "status", "proposal_status_known"),
            models.UniqueConstraint(fields=["plan", "cover"], name="proposal_once_per_cover"),
            models.CheckConstraint(
                condition=models.Q(status=ProposalStatus.ACCEPTED, appointment__isnull=False)
                | ~models.Q(status=ProposalStatus.ACCEPTED),
                name="accepted_proposal_has_its_visit",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.cover}: {self.day}"
