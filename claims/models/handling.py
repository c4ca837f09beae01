"""How a claim is handled: what the customer was asked for, what was decided by whom, and what was paid."""

from django.conf import settings
from django.db import models

from claims.enums import DecisionKind
from claims.models.claim import Claim
from claims.rules.recommend import Outcome
from treatments.models.enum_columns import choices_of, one_of


class ClaimRequest(models.Model):
    """Something that the customer owes; the deadlines stand still while it is owed."""

    claim = models.ForeignKey(Claim, on_delete=models.PROTECT, related_name="requests")
    asked_on = models.DateField()
    what = models.CharField(max_length=300)
    came_on = models.DateField(null=True, blank=True)
    asked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["claim_id", "asked_on", "id"]
        constraints = [
            models.CheckConstraint(condition=~models.Q(what=""), name="request_says_what"),
            models.CheckConstraint(
                condition=models.Q(came_on__isnull=True) | models.Q(came_on__gte=models.F("asked_on")),
                name="request_met_after_it_was_made",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.claim}: {self.what}"


class ClaimDecision(models.Model):
    """A person's decision, with what was recommended then. A reopened claim gets a further one; all stay visible."""

    claim = models.ForeignKey(Claim, on_delete=models.PROTECT, related_name="decisions")
    kind = models.CharField(max_length=16, choices=choices_of(DecisionKind))
    amount = models.DecimalField(max_digits=10, decimal_places=2)
    currency = models.CharField(max_length=3)
    reason = models.CharField(max_length=600, blank=True, help_text="wanted where it differs from what is recommended")
    recommended = models.CharField(max_length=16, choices=choices_of(Outcome))
    recommended_amount = models.DecimalField(max_digits=10, decimal_places=2, null=True, blank=True)
    letter = models.TextField(help_text="as it went to the customer")
    decided_on = models.DateField()
    decided_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()
    needs_second = models.BooleanField(default=False)
    second_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    second_at = models.DateTimeField(null=True, blank=True)
    reopened_at = models.DateTimeField(null=True, blank=True)
    reopened_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    reopen_reason = models.CharField(max_length=600, blank=True)

    class Meta:
        ordering = ["claim_id", "id"]
        constraints = [
            one_of(DecisionKind, "kind", "decision_kind_known"),
            one_of(Outcome, "recommended", "decision_recommended_known"),
            models.UniqueConstraint(
                fields=["claim"], condition=models.Q(reopened_at__isnull=True), name="one_standing_decision"
            ),
            models.CheckConstraint(
                condition=models.Q(kind=DecisionKind.REFUSE, amount=0)
                | (~models.Q(kind=DecisionKind.REFUSE) & models.Q(amount__gt=0)),
                name="refusal_pays_nothing_and_nothing_else_does",
            ),
            models.CheckConstraint(
                condition=models.Q(second_by__isnull=True) | ~models.Q(second_by=models.F("decided_by")),
                name="second_person_is_another",
            ),
            models.CheckConstraint(
                condition=models.Q(second_by__isnull=True, second_at__isnull=True)
                | models.Q(second_by__isnull=False, second_at__isnull=False),
                name="second_person_with_moment",
            ),
            models.CheckConstraint(
                condition=models.Q(reopened_at__isnull=True) | ~models.Q(reopen_reason=""),
                name="reopening_says_why",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.claim}: {self.get_kind_display()}"

    @property
    def stands(self) -> bool:
        """Whether it counts: not reopened, and seconded where that is needed."""
        return self.reopened_at is None and (not self.needs_second or self.second_by_id is not None)


class ClaimPayment(models.Model):
    """Money that was paid under a decision."""

    decision = models.ForeignKey(ClaimDecision, on_delete=models.PROTECT, related_name="payments")
    amount = models.DecimalField(max_digits=10, decimal_places=2)
    currency = models.CharField(max_length=3)
    paid_on = models.DateField()
    reference = models.CharField(max_length=80)
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["decision_id", "paid_on", "id"]
        constraints = [
            models.CheckConstraint(condition=models.Q(amount__gt=0), name="payment_pays_something"),
            models.UniqueConstraint(fields=["decision", "reference"], name="payment_reference_once"),
        ]

    def __str__(self) -> str:
        return f"{self.amount} {self.currency} on {self.paid_on}"
