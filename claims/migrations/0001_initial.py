import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import claims.models.handling


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("scheduling", "0001_initial"),
        ("treatments", "0001_initial"),
    ]

    operations = [
        migrations.CreateModel(
            name="Claim",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("number", models.CharField(max_length=24, unique=True)),
                ("discovered_on", models.DateField(blank=True, null=True)),
                ("reported_on", models.DateField()),
                (
                    "damage",
                    models.CharField(
                        choices=[
                            ("perforation_from_within", "perforation from within"),
                            ("perforation_from_outside", "perforation from outside"),
                            ("surface_corrosion", "surface corrosion"),
                            ("seam_corrosion", "seam corrosion"),
                            ("edge_blistering", "edge blistering"),
                        ],
                        max_length=32,
                    ),
                ),
                ("description", models.TextField(blank=True)),
                ("odometer_amount", models.DecimalField(blank=True, decimal_places=1, max_digits=10, null=True)),
                ("odometer_unit", models.CharField(blank=True, choices=[("km", "km"), ("mi", "mi")], max_length=4)),
                ("kilometres", models.DecimalField(blank=True, decimal_places=6, max_digits=14, null=True)),
                ("estimate_amount", models.DecimalField(blank=True, decimal_places=2, max_digits=10, null=True)),
                ("estimate_currency", models.CharField(blank=True, max_length=3)),
                ("acknowledged_on", models.DateField(blank=True, null=True)),
                ("recorded_at", models.DateTimeField()),
                (
                    "cover",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="claims", to="scheduling.cover"
                    ),
                ),
                (
                    "inspection",
                    models.ForeignKey(
                        blank=True,
                        help_text="made for it",
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="claims",
                        to="treatments.inspection",
                    ),
                ),
                (
                    "recorded_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ["-reported_on", "-id"],
            },
        ),
        migrations.CreateModel(
            name="ClaimDecision",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("pay", "pay"),
                            ("pay_in_part", "pay in part"),
                            ("refuse", "refuse"),
                            ("goodwill", "goodwill"),
                        ],
                        max_length=16,
                    ),
                ),
                ("amount", models.DecimalField(decimal_places=2, max_digits=10)),
                ("currency", models.CharField(max_length=3)),
                (
                    "reason",
                    models.CharField(
                        blank=True, help_text="wanted where it differs from what is recommended", max_length=600
                    ),
                ),
                (
                    "recommended",
                    models.CharField(
                        choices=[("pay", "pay"), ("pay_in_part", "pay in part"), ("refuse", "refuse"), ("ask", "ask")],
                        max_length=16,
                    ),
                ),
                ("recommended_amount", models.DecimalField(blank=True, decimal_places=2, max_digits=10, null=True)),
                ("letter", models.TextField(help_text="as it went to the customer")),
                ("decided_on", models.DateField()),
                ("recorded_at", models.DateTimeField()),
                ("needs_second", models.BooleanField(default=False)),
                ("second_at", models.DateTimeField(blank=True, null=True)),
                ("reopened_at", models.DateTimeField(blank=True, null=True)),
                ("reopen_reason", models.CharField(blank=True, max_length=600)),
                (
                    "claim",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="decisions", to="claims.claim"
                    ),
                ),
                (
                    "decided_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "reopened_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "second_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ["claim_id", "id"],
            },
        ),
        migrations.CreateModel(
            name="ClaimPayment",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("amount", models.DecimalField(decimal_places=2, max_digits=10)),
                ("currency", models.CharField(max_length=3)),
                ("paid_on", models.DateField()),
                ("reference", models.CharField(max_length=80)),
                ("recorded_at", models.DateTimeField()),
                (
                    "decision",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="payments", to="claims.claimdecision"
                    ),
                ),
                (
                    "recorded_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
            options={
                "ordering": ["decision_id", "paid_on", "id"],
            },
        ),
        migrations.CreateModel(
            name="ClaimPhoto",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("image", models.ImageField(upload_to="claims/%Y/%m/")),
                ("sha256", models.CharField(max_length=64)),
                ("recorded_at", models.DateTimeField()),
                (
                    "claim",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="photos", to="claims.claim"
                    ),
                ),
                (
                    "zone",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="treatments.zone",
                    ),
                ),
            ],
            options={
                "ordering": ["claim_id", "id"],
            },
        ),
        migrations.CreateModel(
            name="ClaimRequest",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("asked_on", models.DateField()),
                ("what", models.CharField(max_length=300)),
                ("came_on", models.DateField(blank=True, null=True)),
                ("recorded_at", models.DateTimeField()),
                (
                    "asked_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "claim",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="requests", to="claims.claim"
                    ),
                ),
            ],
            options={
                "ordering": ["claim_id", "asked_on", "id"],
            },
        ),
        migrations.CreateModel(
            name="ClaimZone",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("estimate_amount", models.DecimalField(blank=True, decimal_places=2, max_digits=10, null=True)),
                (
                    "claim",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="claimed_zones", to="claims.claim"
                    ),
                ),
                (
                    "zone",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="+", to="treatments.zone"
                    ),
                ),
            ],
            options={
                "db_table": "claims_claim_zones",
                "ordering": ["claim_id", "zone_id"],
            },
        ),
        migrations.AddField(
            model_name="claim",
            name="zones",
            field=models.ManyToManyField(related_name="+", through="claims.ClaimZone", to="treatments.zone"),
        ),
        migrations.CreateModel(
            name="ReportTally",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("name", models.CharField(max_length=40, unique=True)),
                ("document", models.JSONField(blank=True, default=dict)),
                ("as_of", models.DateField(blank=True, null=True)),
                ("computed_at", models.DateTimeField(blank=True, null=True)),
                (
                    "asked_at",
                    models.DateTimeField(blank=True, help_text="when somebody last wanted it counted anew", null=True),
                ),
                (
                    "leased_until",
                    models.DateTimeField(blank=True, help_text="a worker is at it; later another may", null=True),
                ),
            ],
            options={
                "verbose_name_plural": "report tallies",
                "ordering": ["name"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("computed_at__isnull", True), ("as_of__isnull", False), _connector="OR"),
                        name="counted_report_has_a_day",
                    )
                ],
            },
        ),
        migrations.AddConstraint(
            model_name="claimdecision",
            constraint=models.CheckConstraint(
                condition=models.Q(("kind__in", ["pay", "pay_in_part", "refuse", "goodwill"])),
                name="decision_kind_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="claimdecision",
            constraint=models.CheckConstraint(
                condition=models.Q(("recommended__in", ["pay", "pay_in_part", "refuse", "ask"])),
                name="decision_recommended_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="claimdecision",
            constraint=models.UniqueConstraint(
                condition=models.Q(("reopened_at__isnull", True)), fields=("claim",), name="one_standing_decision"
            ),
        ),
        migrations.AddConstraint(
            model_name="claimdecision",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("amount", 0), ("kind", claims.models.handling.DecisionKind["REFUSE"])),
                    models.Q(
                        models.Q(("kind", claims.models.handling.DecisionKind["REFUSE"]), _negated=True),
                        ("amount__gt", 0),
                    ),
                    _connector="OR",
                ),
                name="refusal_pays_nothing_and_nothing_else_does",
            ),
        ),
        migrations.AddConstraint(
            model_name="claimdecision",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("second_by__isnull", True),
                    models.Q(("second_by", models.F("decided_by")), _negated=True),
                    _connector="OR",
                ),
                name="second_person_is_another",
            ),
        ),
        migrations.AddConstraint(
            model_name="claimdecision",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("second_at__isnull", True), ("second_by__isnull", True)),
                    models.Q(("second_at__isnull", False), ("second_by__isnull", False)),
                    _connector="OR",
                ),
                name="second_person_with_moment",
            ),
        ),
        migrations.AddConstraint(
            model_name="claimdecision",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("reopened_at__isnull", True), models.Q(("reopen_reason", ""), _negated=True), _connector="OR"
                ),
                name="reopening_says_why",
            ),
        ),
        migrations.AddConstraint(
            model_name="claimpayment",
            constraint=models.CheckConstraint(condition=models.Q(("amount__gt", 0)), name="payment_pays_something"),
        ),
        migrations.AddConstraint(
            model_name="claimpayment",
            constraint=models.UniqueConstraint(fields=("decision", "reference"), name="payment_reference_once"),
        ),
        migrations.AddConstraint(
            model_name="claimphoto",
            constraint=models.UniqueConstraint(fields=("claim", "sha256"), name="claim_photo_once"),
        ),
        migrations.AddConstraint(
            model_name="claimrequest",
            constraint=models.CheckConstraint(
                condition=models.Q(("what", ""), _negated=True), name="request_says_what"
            ),
        ),
        migrations.AddConstraint(
            model_name="claimrequest",
            constraint=models.CheckConstraint(
                condition=models.Q(("came_on__isnull", True), ("came_on__gte", models.F("asked_on")), _connector="OR"),
                name="request_met_after_it_was_made",
            ),
        ),
        migrations.AddConstraint(
            model_name="claimzone",
            constraint=models.UniqueConstraint(fields=("claim", "zone"), name="zone_claimed_once"),
        ),
        migrations.AddConstraint(
            model_name="claimzone",
            constraint=models.CheckConstraint(
                condition=models.Q(("estimate_amount__isnull", True), ("estimate_amount__gte", 0), _connector="OR"),
                name="zone_estimate_not_negative",
            ),
        ),
        migrations.AddIndex(
            model_name="claim",
            index=models.Index(fields=["-reported_on", "-id"], name="claim_newest_first"),
        ),
        migrations.AddConstraint(
            model_name="claim",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    (
                        "damage__in",
                        [
                            "perforation_from_within",
                            "perforation_from_outside",
                            "surface_corrosion",
                            "seam_corrosion",
                            "edge_blistering",
                        ],
                    )
                ),
                name="claim_damage_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="claim",
            constraint=models.CheckConstraint(
                condition=models.Q(("odometer_unit__in", ["km", "mi", ""])), name="claim_odometer_unit_known"
            ),
        ),
        migrations.AddConstraint(
            model_name="claim",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("estimate_amount__isnull", True),
                    models.Q(("estimate_amount__gte", 0), models.Q(("estimate_currency", ""), _negated=True)),
                    _connector="OR",
                ),
                name="claim_estimate_has_a_currency",
            ),
        ),
    ]
