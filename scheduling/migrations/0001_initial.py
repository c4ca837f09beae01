import uuid

import django.db.models.deletion
import django.db.models.functions.text
import django.db.models.lookups
from django.conf import settings
from django.db import migrations, models

import scheduling.enums


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("treatments", "0001_initial"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="Cover",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("number", models.CharField(max_length=24, unique=True)),
                ("sold_on", models.DateField()),
                ("registered_on", models.DateField()),
                ("ended_on", models.DateField(blank=True, null=True)),
                ("end_reason", models.CharField(blank=True, max_length=200)),
                ("recorded_at", models.DateTimeField()),
                (
                    "dealership",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="covers",
                        to="treatments.dealership",
                    ),
                ),
                (
                    "holder",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="covers",
                        to="treatments.customer",
                    ),
                ),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="covers", to="treatments.site"
                    ),
                ),
                (
                    "vehicle",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="covers", to="treatments.vehicle"
                    ),
                ),
            ],
            options={
                "ordering": ["number"],
            },
        ),
        migrations.CreateModel(
            name="TermsVersion",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("version", models.PositiveIntegerField()),
                ("document", models.JSONField()),
                ("published_at", models.DateTimeField(blank=True, null=True)),
            ],
            options={
                "ordering": ["terms_id", "version"],
            },
        ),
        migrations.CreateModel(
            name="VehicleSize",
            fields=[
                (
                    "vehicle",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.CASCADE,
                        primary_key=True,
                        related_name="size",
                        serialize=False,
                        to="treatments.vehicle",
                    ),
                ),
                ("height_mm", models.PositiveIntegerField(blank=True, null=True)),
                ("mass_kg", models.PositiveIntegerField(blank=True, null=True)),
            ],
        ),
        migrations.CreateModel(
            name="WarrantyTerms",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("code", models.SlugField(unique=True)),
                ("title", models.CharField(max_length=160)),
            ],
            options={
                "verbose_name_plural": "warranty terms",
                "ordering": ["code"],
            },
        ),
        migrations.CreateModel(
            name="Bay",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("code", models.SlugField(max_length=24)),
                ("name", models.CharField(max_length=80)),
                ("kind", models.CharField(choices=[("lift", "lift"), ("ground", "ground")], max_length=8)),
                (
                    "most_height_mm",
                    models.PositiveIntegerField(
                        blank=True,
                        help_text="tallest vehicle that fits, on the lift raised to working height",
                        null=True,
                    ),
                ),
                (
                    "most_mass_kg",
                    models.PositiveIntegerField(
                        blank=True, help_text="rated capacity of the lift, as its maker's plate says", null=True
                    ),
                ),
                ("in_use", models.BooleanField(default=True)),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="bays", to="treatments.site"
                    ),
                ),
            ],
            options={
                "ordering": ["site_id", "code"],
            },
        ),
        migrations.CreateModel(
            name="Appointment",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("number", models.CharField(max_length=24, unique=True)),
                (
                    "uid",
                    models.UUIDField(
                        default=uuid.uuid4, editable=False, help_text="UID in calendars, RFC 5545", unique=True
                    ),
                ),
                (
                    "sequence",
                    models.PositiveIntegerField(default=0, help_text="SEQUENCE in calendars: counts what was changed"),
                ),
                (
                    "visit",
                    models.CharField(
                        choices=[
                            ("first_treatment", "first treatment"),
                            ("annual_touch_up", "annual touch-up"),
                            ("reinspection", "reinspection"),
                            ("after_repair", "after repair"),
                            ("look_at_rust", "look at rust"),
                        ],
                        max_length=20,
                    ),
                ),
                ("starts_at", models.DateTimeField()),
                ("work_ends_at", models.DateTimeField()),
                ("bay_free_at", models.DateTimeField()),
                ("ready_at", models.DateTimeField()),
                (
                    "status",
                    models.CharField(
                        choices=[
                            ("booked", "booked"),
                            ("in_the_bay", "in the bay"),
                            ("done", "done"),
                            ("cancelled", "cancelled"),
                            ("no_show", "no show"),
                        ],
                        default=scheduling.enums.AppointmentStatus["BOOKED"],
                        max_length=12,
                    ),
                ),
                ("status_reason", models.CharField(blank=True, max_length=200)),
                (
                    "booked_by",
                    models.CharField(
                        choices=[
                            ("desk", "desk"),
                            ("customer", "customer"),
                            ("season_plan", "season plan"),
                            ("walk_in", "walk in"),
                        ],
                        default=scheduling.enums.BookedBy["DESK"],
                        max_length=12,
                    ),
                ),
                (
                    "why",
                    models.JSONField(blank=True, help_text="code and params of why this time was proposed", null=True),
                ),
                ("note", models.CharField(blank=True, max_length=300)),
                ("split_reason", models.CharField(blank=True, max_length=200)),
                ("recorded_at", models.DateTimeField()),
                ("changed_at", models.DateTimeField()),
                (
                    "customer",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="appointments",
                        to="treatments.customer",
                    ),
                ),
                (
                    "person",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="appointments",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="appointments", to="treatments.site"
                    ),
                ),
                (
                    "splits",
                    models.ForeignKey(
                        blank=True,
                        help_text="the stay that this one goes on from",
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="split_into",
                        to="scheduling.appointment",
                    ),
                ),
                (
                    "vehicle",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="appointments",
                        to="treatments.vehicle",
                    ),
                ),
                (
                    "bay",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="appointments", to="scheduling.bay"
                    ),
                ),
                (
                    "cover",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="appointments",
                        to="scheduling.cover",
                    ),
                ),
            ],
            options={
                "ordering": ["starts_at", "id"],
            },
        ),
        migrations.CreateModel(
            name="BayClosure",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("starts_at", models.DateTimeField()),
                ("ends_at", models.DateTimeField()),
                ("reason", models.CharField(max_length=120)),
                (
                    "bay",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="closures", to="scheduling.bay"
                    ),
                ),
            ],
            options={
                "ordering": ["bay_id", "starts_at"],
            },
        ),
        migrations.CreateModel(
            name="BodyStyleSize",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "body_style",
                    models.CharField(
                        choices=[
                            ("car", "car"),
                            ("hatchback", "hatchback"),
                            ("suv_or_wagon", "SUV or wagon"),
                            ("pickup", "pickup"),
                            ("van", "van"),
                        ],
                        max_length=16,
                        unique=True,
                    ),
                ),
                ("height_mm", models.PositiveIntegerField()),
                ("mass_kg", models.PositiveIntegerField(help_text="with what it usually carries")),
            ],
            options={
                "ordering": ["body_style"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("body_style__in", ["car", "hatchback", "suv_or_wagon", "pickup", "van"])),
                        name="size_style_known",
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="ClosedDay",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("day", models.DateField()),
                ("reason", models.CharField(max_length=120)),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="closed_days", to="treatments.site"
                    ),
                ),
            ],
            options={
                "ordering": ["site_id", "day"],
            },
        ),
        migrations.CreateModel(
            name="CoverFault",
            fields=[
                (
                    "cover",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.CASCADE,
                        primary_key=True,
                        related_name="fault",
                        serialize=False,
                        to="scheduling.cover",
                    ),
                ),
                ("explanations", models.JSONField(help_text="code and params of what is wrong and what to do")),
                ("found_at", models.DateTimeField()),
            ],
            options={
                "ordering": ["cover_id"],
            },
        ),
        migrations.CreateModel(
            name="CoverState",
            fields=[
                (
                    "cover",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.CASCADE,
                        primary_key=True,
                        related_name="last_state",
                        serialize=False,
                        to="scheduling.cover",
                    ),
                ),
                (
                    "status",
                    models.CharField(
                        choices=[
                            ("pending", "pending"),
                            ("in_force", "in force"),
                            ("suspended", "suspended"),
                            ("lapsed", "lapsed"),
                            ("expired", "expired"),
                            ("ended", "ended"),
                        ],
                        max_length=12,
                    ),
                ),
                ("since", models.DateField(blank=True, null=True)),
                ("last_day", models.DateField(blank=True, null=True)),
                ("percent", models.DecimalField(decimal_places=2, default=100, max_digits=5)),
                ("explanations", models.JSONField(help_text="code and params of what explains the state")),
                (
                    "recheck_on",
                    models.DateField(
                        blank=True,
                        help_text="the first day on which the answer may be another; none: only a record can",
                        null=True,
                    ),
                ),
                ("due_opens_on", models.DateField(blank=True, null=True)),
                ("due_last_on", models.DateField(blank=True, null=True)),
                ("due_grace_until", models.DateField(blank=True, null=True)),
                ("reinspection_opens_on", models.DateField(blank=True, null=True)),
                ("touch_up_opens_on", models.DateField(blank=True, null=True)),
                ("last_seen_on", models.DateField(blank=True, help_text="the last treatment or inspection", null=True)),
                (
                    "corrosivity",
                    models.CharField(default="C3", help_text="ISO 9223, of the place of use", max_length=2),
                ),
                (
                    "risk_on",
                    models.DateField(
                        blank=True,
                        help_text="the day by which bare steel in that place would have lost a set depth",
                        null=True,
                    ),
                ),
                (
                    "booked_on",
                    models.DateField(
                        blank=True, help_text="the day of the next appointment that serves what is due", null=True
                    ),
                ),
                (
                    "log_position",
                    models.BigIntegerField(default=0, help_text="of the event log from which this was computed"),
                ),
            ],
        ),
        migrations.CreateModel(
            name="AppointmentItem",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("due_key", models.CharField(max_length=80)),
                ("serves", models.BooleanField(default=True, help_text="false once the appointment was given up")),
                (
                    "appointment",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="items", to="scheduling.appointment"
                    ),
                ),
                (
                    "cover",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="scheduling.cover"
                    ),
                ),
            ],
            options={
                "ordering": ["appointment_id", "id"],
            },
        ),
        migrations.CreateModel(
            name="CustomerWish",
            fields=[
                (
                    "customer",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.CASCADE,
                        primary_key=True,
                        related_name="wish",
                        serialize=False,
                        to="treatments.customer",
                    ),
                ),
                (
                    "weekdays",
                    models.CharField(
                        blank=True, help_text="ISO 8601 weekday numbers, 1 is Monday, e.g. 125", max_length=7
                    ),
                ),
                (
                    "part_of_day",
                    models.CharField(
                        blank=True, choices=[("morning", "morning"), ("afternoon", "afternoon")], max_length=10
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("part_of_day__in", ["morning", "afternoon", ""])),
                        name="wish_part_of_day_known",
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="DueItem",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.CharField(max_length=80)),
                (
                    "kind",
                    models.CharField(
                        choices=[("reinspection", "reinspection"), ("touch_up", "touch-up")], max_length=16
                    ),
                ),
                ("zones", models.JSONField(default=list)),
                ("opens_on", models.DateField()),
                ("target_on", models.DateField()),
                ("last_on", models.DateField()),
                ("grace_until", models.DateField()),
                (
                    "status",
                    models.CharField(
                        choices=[
                            ("open", "open"),
                            ("booked", "booked"),
                            ("done", "done"),
                            ("missed", "missed"),
                            ("waived", "waived"),
                        ],
                        max_length=12,
                    ),
                ),
                (
                    "reasons",
                    models.JSONField(help_text="explanations of the target day and of what became of it, in order"),
                ),
                ("why_opens", models.JSONField()),
                ("why_last", models.JSONField()),
                ("why_grace", models.JSONField()),
                (
                    "cover",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="due_items", to="scheduling.cover"
                    ),
                ),
            ],
            options={
                "ordering": ["target_on", "id"],
            },
        ),
        migrations.CreateModel(
            name="PersonHours",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("weekday", models.PositiveSmallIntegerField(help_text="ISO 8601, 1 is Monday")),
                ("starts_at", models.TimeField()),
                ("ends_at", models.TimeField()),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="hours", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
            options={
                "verbose_name_plural": "person hours",
                "ordering": ["person_id", "weekday", "starts_at"],
            },
        ),
        migrations.CreateModel(
            name="PersonSkill",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "skill",
                    models.CharField(choices=[("inspecting", "inspecting"), ("spraying", "spraying")], max_length=16),
                ),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="skills", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
            options={
                "ordering": ["person_id", "skill"],
            },
        ),
        migrations.CreateModel(
            name="RecomputeRun",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("as_of", models.DateField()),
                ("whole", models.BooleanField()),
                ("started_at", models.DateTimeField()),
                ("finished_at", models.DateTimeField(blank=True, null=True)),
            ],
            options={
                "ordering": ["-id"],
                "constraints": [
                    models.UniqueConstraint(
                        condition=models.Q(("finished_at__isnull", True), ("whole", True)),
                        fields=("whole",),
                        name="one_unfinished_whole_run",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("finished_at__isnull", True), ("whole", False)),
                        fields=("whole",),
                        name="one_unfinished_run",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="RecomputeRange",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("first_cover", models.BigIntegerField()),
                ("last_cover", models.BigIntegerField()),
                ("finished_at", models.DateTimeField(blank=True, null=True)),
                ("covers", models.PositiveIntegerField(default=0)),
                ("states_written", models.PositiveIntegerField(default=0)),
                ("items_written", models.PositiveIntegerField(default=0)),
                ("items_removed", models.PositiveIntegerField(default=0)),
                (
                    "run",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="ranges", to="scheduling.recomputerun"
                    ),
                ),
            ],
            options={
                "ordering": ["run_id", "first_cover"],
            },
        ),
        migrations.CreateModel(
            name="SavedFilter",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("name", models.CharField(max_length=60)),
                ("query", models.CharField(max_length=400)),
                (
                    "user",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="saved_filters",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ["user_id", "name"],
            },
        ),
        migrations.CreateModel(
            name="SeasonPlan",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("first_day", models.DateField()),
                ("last_day", models.DateField()),
                ("as_of", models.DateField()),
                ("made_at", models.DateTimeField()),
                (
                    "totals",
                    models.JSONField(default=dict, help_text="what it comes to, beside first come, first served"),
                ),
                (
                    "leased_until",
                    models.DateTimeField(blank=True, help_text="a worker is at it; later another may", null=True),
                ),
                ("step", models.PositiveSmallIntegerField(default=0, help_text="how far the worker is, a SeasonStep")),
                (
                    "finished_at",
                    models.DateTimeField(blank=True, help_text="none: it is asked for, not worked out yet", null=True),
                ),
                (
                    "failure",
                    models.JSONField(
                        blank=True, help_text="code and params of why there is no plan after all", null=True
                    ),
                ),
                (
                    "made_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                ("sites", models.ManyToManyField(related_name="season_plans", to="treatments.site")),
            ],
            options={
                "ordering": ["-id"],
            },
        ),
        migrations.CreateModel(
            name="SeasonProposal",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("day", models.DateField(blank=True, help_text="none: no day of the season has room", null=True)),
                ("begins_at", models.TimeField(blank=True, help_text="the time of day at the site", null=True)),
                (
                    "lapses",
                    models.BooleanField(
                        default=False, help_text="the cover lapses before that day, or for want of one"
                    ),
                ),
                ("why", models.JSONField(help_text="code and params of why it stands there, or nowhere")),
                (
                    "status",
                    models.CharField(
                        choices=[
                            ("open", "open"),
                            ("being_booked", "being booked"),
                            ("accepted", "accepted"),
                            ("left_out", "left out"),
                            ("refused", "refused"),
                        ],
                        default=scheduling.enums.ProposalStatus["OPEN"],
                        max_length=12,
                    ),
                ),
                ("asked_at", models.DateTimeField(blank=True, help_text="when a person wanted it booked", null=True)),
                (
                    "leased_until",
                    models.DateTimeField(blank=True, help_text="a worker is at it; later another may", null=True),
                ),
                (
                    "refusal",
                    models.JSONField(
                        blank=True,
                        help_text="code and params of why it could not be booked when it was accepted",
                        null=True,
                    ),
                ),
                (
                    "appointment",
                    models.OneToOneField(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="proposal",
                        to="scheduling.appointment",
                    ),
                ),
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
                    "bay",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="scheduling.bay",
                    ),
                ),
                (
                    "cover",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="scheduling.cover"
                    ),
                ),
                (
                    "person",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "plan",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="proposals",
                        to="scheduling.seasonplan",
                    ),
                ),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="treatments.site"
                    ),
                ),
            ],
            options={
                "ordering": ["plan_id", "day", "id"],
            },
        ),
        migrations.CreateModel(
            name="SiteCalendar",
            fields=[
                (
                    "site",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.CASCADE,
                        primary_key=True,
                        related_name="calendar",
                        serialize=False,
                        to="treatments.site",
                    ),
                ),
                (
                    "open_weekdays",
                    models.CharField(
                        default="12345", help_text="ISO 8601 weekday numbers, 1 is Monday, e.g. 12345", max_length=7
                    ),
                ),
                ("closed_on_public_holidays", models.BooleanField(default=True)),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("open_weekdays", ""), _negated=True), name="site_opens_on_some_day"
                    ),
                    models.CheckConstraint(
                        condition=django.db.models.lookups.Exact(
                            django.db.models.functions.text.Replace(
                                django.db.models.functions.text.Replace(
                                    django.db.models.functions.text.Replace(
                                        django.db.models.functions.text.Replace(
                                            django.db.models.functions.text.Replace(
                                                django.db.models.functions.text.Replace(
                                                    django.db.models.functions.text.Replace(
                                                        models.F("open_weekdays"), models.Value("1"), models.Value("")
                                                    ),
                                                    models.Value("2"),
                                                    models.Value(""),
                                                ),
                                                models.Value("3"),
                                                models.Value(""),
                                            ),
                                            models.Value("4"),
                                            models.Value(""),
                                        ),
                                        models.Value("5"),
                                        models.Value(""),
                                    ),
                                    models.Value("6"),
                                    models.Value(""),
                                ),
                                models.Value("7"),
                                models.Value(""),
                            ),
                            models.Value(""),
                        ),
                        name="open_days_are_weekdays",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="SiteHours",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("weekday", models.PositiveSmallIntegerField(help_text="ISO 8601, 1 is Monday")),
                ("opens_at", models.TimeField()),
                ("closes_at", models.TimeField()),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="hours", to="treatments.site"
                    ),
                ),
            ],
            options={
                "verbose_name_plural": "site hours",
                "ordering": ["site_id", "weekday", "opens_at"],
            },
        ),
        migrations.CreateModel(
            name="SiteTerms",
            fields=[
                (
                    "site",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.CASCADE,
                        primary_key=True,
                        related_name="usual_terms",
                        serialize=False,
                        to="treatments.site",
                    ),
                ),
                (
                    "terms_version",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="scheduling.termsversion"
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="CoverChange",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("due_item_waived", "due item waived"),
                            ("transfer_notified", "transfer notified"),
                            ("terms_moved", "terms moved"),
                            ("ended", "ended"),
                            ("end_taken_back", "end taken back"),
                        ],
                        max_length=24,
                    ),
                ),
                ("day", models.DateField()),
                ("due_key", models.CharField(blank=True, help_text="the due item that was waived", max_length=80)),
                ("reason", models.CharField(max_length=300)),
                ("recorded_at", models.DateTimeField()),
                (
                    "actor",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "cover",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="changes", to="scheduling.cover"
                    ),
                ),
                (
                    "from_version",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="scheduling.termsversion",
                    ),
                ),
                (
                    "to_version",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="scheduling.termsversion",
                    ),
                ),
            ],
            options={
                "ordering": ["cover_id", "day", "id"],
            },
        ),
        migrations.AddField(
            model_name="cover",
            name="terms_version",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="covers", to="scheduling.termsversion"
            ),
        ),
        migrations.AddField(
            model_name="termsversion",
            name="terms",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="versions", to="scheduling.warrantyterms"
            ),
        ),
        migrations.CreateModel(
            name="WorkDuration",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "visit",
                    models.CharField(
                        choices=[
                            ("first_treatment", "first treatment"),
                            ("annual_touch_up", "annual touch-up"),
                            ("reinspection", "reinspection"),
                            ("after_repair", "after repair"),
                            ("look_at_rust", "look at rust"),
                        ],
                        max_length=20,
                    ),
                ),
                (
                    "body_style",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("car", "car"),
                            ("hatchback", "hatchback"),
                            ("suv_or_wagon", "SUV or wagon"),
                            ("pickup", "pickup"),
                            ("van", "van"),
                        ],
                        max_length=16,
                    ),
                ),
                (
                    "bay_kind",
                    models.CharField(
                        choices=[("lift", "lift"), ("ground", "ground")],
                        default=scheduling.enums.BayKind["LIFT"],
                        max_length=8,
                    ),
                ),
                (
                    "skill",
                    models.CharField(
                        choices=[("inspecting", "inspecting"), ("spraying", "spraying")],
                        default=scheduling.enums.Skill["SPRAYING"],
                        max_length=16,
                    ),
                ),
                ("wash_and_dry_minutes", models.PositiveSmallIntegerField(default=0)),
                ("work_minutes", models.PositiveSmallIntegerField()),
                (
                    "minutes_per_zone",
                    models.PositiveSmallIntegerField(default=0, help_text="for each zone that is due"),
                ),
                (
                    "standing_minutes",
                    models.PositiveSmallIntegerField(
                        default=0, help_text="before the vehicle may leave; see the product maker's data sheet"
                    ),
                ),
                (
                    "stands_in_bay",
                    models.BooleanField(default=False, help_text="the bay stays taken while the vehicle stands"),
                ),
                (
                    "site",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="durations",
                        to="treatments.site",
                    ),
                ),
            ],
            options={
                "ordering": ["visit", "body_style", "site_id"],
            },
        ),
        migrations.CreateModel(
            name="Absence",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("starts_at", models.DateTimeField()),
                ("ends_at", models.DateTimeField()),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="absences",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ["person_id", "starts_at"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("starts_at__lt", models.F("ends_at"))), name="absence_in_order"
                    )
                ],
            },
        ),
        migrations.AddConstraint(
            model_name="bay",
            constraint=models.UniqueConstraint(fields=("site", "code"), name="bay_code_once_per_site"),
        ),
        migrations.AddConstraint(
            model_name="bay",
            constraint=models.CheckConstraint(
                condition=models.Q(("kind__in", ["lift", "ground"])), name="bay_kind_known"
            ),
        ),
        migrations.AddConstraint(
            model_name="bayclosure",
            constraint=models.CheckConstraint(
                condition=models.Q(("starts_at__lt", models.F("ends_at"))), name="bay_closure_in_order"
            ),
        ),
        migrations.AddConstraint(
            model_name="closedday",
            constraint=models.UniqueConstraint(fields=("site", "day"), name="closed_day_once"),
        ),
        migrations.AddField(
            model_name="coverstate",
            name="dealership",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="treatments.dealership",
            ),
        ),
        migrations.AddField(
            model_name="coverstate",
            name="site",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="treatments.site"
            ),
        ),
        migrations.AddConstraint(
            model_name="appointmentitem",
            constraint=models.UniqueConstraint(
                condition=models.Q(("serves", True)), fields=("cover", "due_key"), name="due_item_served_once"
            ),
        ),
        migrations.AddConstraint(
            model_name="appointmentitem",
            constraint=models.UniqueConstraint(
                fields=("appointment", "cover", "due_key"), name="appointment_item_once"
            ),
        ),
        migrations.AddIndex(
            model_name="appointment",
            index=models.Index(fields=["site", "starts_at"], name="appointment_by_site"),
        ),
        migrations.AddIndex(
            model_name="appointment",
            index=models.Index(fields=["bay", "starts_at"], name="appointment_by_bay"),
        ),
        migrations.AddIndex(
            model_name="appointment",
            index=models.Index(fields=["person", "starts_at"], name="appointment_by_person"),
        ),
        migrations.AddIndex(
            model_name="appointment",
            index=models.Index(fields=["vehicle", "starts_at"], name="appointment_by_vehicle"),
        ),
        migrations.AddIndex(
            model_name="appointment",
            index=models.Index(
                condition=models.Q(
                    (
                        "status__in",
                        [
                            scheduling.enums.AppointmentStatus["BOOKED"],
                            scheduling.enums.AppointmentStatus["IN_THE_BAY"],
                        ],
                    )
                ),
                fields=["site", "starts_at"],
                name="appointment_still_open",
            ),
        ),
        migrations.AddConstraint(
            model_name="appointment",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    (
                        "visit__in",
                        ["first_treatment", "annual_touch_up", "reinspection", "after_repair", "look_at_rust"],
                    )
                ),
                name="appointment_visit_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="appointment",
            constraint=models.CheckConstraint(
                condition=models.Q(("status__in", ["booked", "in_the_bay", "done", "cancelled", "no_show"])),
                name="appointment_status_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="appointment",
            constraint=models.CheckConstraint(
                condition=models.Q(("booked_by__in", ["desk", "customer", "season_plan", "walk_in"])),
                name="appointment_source_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="appointment",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("starts_at__lt", models.F("work_ends_at")),
                    ("work_ends_at__lte", models.F("bay_free_at")),
                    ("work_ends_at__lte", models.F("ready_at")),
                    ("bay_free_at__lte", models.F("ready_at")),
                ),
                name="appointment_times_in_order",
            ),
        ),
        migrations.AddConstraint(
            model_name="appointment",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(
                        (
                            "status__in",
                            [
                                scheduling.enums.AppointmentStatus["CANCELLED"],
                                scheduling.enums.AppointmentStatus["NO_SHOW"],
                            ],
                        ),
                        _negated=True,
                    ),
                    models.Q(("status_reason", ""), _negated=True),
                    _connector="OR",
                ),
                name="appointment_given_up_says_why",
            ),
        ),
        migrations.AddConstraint(
            model_name="appointment",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("splits__isnull", True), models.Q(("split_reason", ""), _negated=True), _connector="OR"
                ),
                name="appointment_split_says_why",
            ),
        ),
        migrations.AddIndex(
            model_name="dueitem",
            index=models.Index(fields=["target_on", "id"], name="due_item_by_target"),
        ),
        migrations.AddIndex(
            model_name="dueitem",
            index=models.Index(fields=["opens_on"], name="due_item_by_opening"),
        ),
        migrations.AddConstraint(
            model_name="dueitem",
            constraint=models.CheckConstraint(
                condition=models.Q(("kind__in", ["reinspection", "touch_up"])), name="due_kind_known"
            ),
        ),
        migrations.AddConstraint(
            model_name="dueitem",
            constraint=models.CheckConstraint(
                condition=models.Q(("status__in", ["open", "booked", "done", "missed", "waived"])),
                name="due_status_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="dueitem",
            constraint=models.UniqueConstraint(fields=("cover", "key"), name="due_item_once"),
        ),
        migrations.AddConstraint(
            model_name="dueitem",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("opens_on__lte", models.F("target_on")),
                    ("target_on__lte", models.F("last_on")),
                    ("last_on__lte", models.F("grace_until")),
                ),
                name="due_dates_in_order",
            ),
        ),
        migrations.AddConstraint(
            model_name="personhours",
            constraint=models.UniqueConstraint(fields=("person", "weekday", "starts_at"), name="person_hours_once"),
        ),
        migrations.AddConstraint(
            model_name="personhours",
            constraint=models.CheckConstraint(
                condition=models.Q(("starts_at__lt", models.F("ends_at"))), name="person_hours_in_order"
            ),
        ),
        migrations.AddConstraint(
            model_name="personhours",
            constraint=models.CheckConstraint(
                condition=models.Q(("weekday__gte", 1), ("weekday__lte", 7)), name="person_hours_weekday"
            ),
        ),
        migrations.AddConstraint(
            model_name="personskill",
            constraint=models.UniqueConstraint(fields=("person", "skill"), name="person_skill_once"),
        ),
        migrations.AddConstraint(
            model_name="personskill",
            constraint=models.CheckConstraint(
                condition=models.Q(("skill__in", ["inspecting", "spraying"])), name="person_skill_known"
            ),
        ),
        migrations.AddIndex(
            model_name="recomputerange",
            index=models.Index(
                condition=models.Q(("finished_at__isnull", True)), fields=["run", "first_cover"], name="range_open"
            ),
        ),
        migrations.AddConstraint(
            model_name="recomputerange",
            constraint=models.UniqueConstraint(fields=("run", "first_cover"), name="range_once"),
        ),
        migrations.AddConstraint(
            model_name="recomputerange",
            constraint=models.CheckConstraint(
                condition=models.Q(("first_cover__lte", models.F("last_cover"))), name="range_ends_after_it_starts"
            ),
        ),
        migrations.AddConstraint(
            model_name="savedfilter",
            constraint=models.UniqueConstraint(fields=("user", "name"), name="saved_filter_once_per_name"),
        ),
        migrations.AddConstraint(
            model_name="savedfilter",
            constraint=models.CheckConstraint(
                condition=models.Q(models.Q(("name", ""), _negated=True), models.Q(("query", ""), _negated=True)),
                name="saved_filter_says_what",
            ),
        ),
        migrations.AddConstraint(
            model_name="seasonplan",
            constraint=models.CheckConstraint(
                condition=models.Q(("first_day__lte", models.F("last_day"))), name="season_in_order"
            ),
        ),
        migrations.AddConstraint(
            model_name="seasonplan",
            constraint=models.CheckConstraint(
                condition=models.Q(("failure__isnull", True), ("finished_at__isnull", False), _connector="OR"),
                name="failed_plan_is_finished",
            ),
        ),
        migrations.AddIndex(
            model_name="seasonproposal",
            index=models.Index(fields=["plan", "day", "id"], name="proposal_by_day"),
        ),
        migrations.AddConstraint(
            model_name="seasonproposal",
            constraint=models.CheckConstraint(
                condition=models.Q(("status__in", ["open", "being_booked", "accepted", "left_out", "refused"])),
                name="proposal_status_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="seasonproposal",
            constraint=models.UniqueConstraint(fields=("plan", "cover"), name="proposal_once_per_cover"),
        ),
        migrations.AddConstraint(
            model_name="seasonproposal",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("appointment__isnull", False), ("status", scheduling.enums.ProposalStatus["ACCEPTED"])),
                    models.Q(("status", scheduling.enums.ProposalStatus["ACCEPTED"]), _negated=True),
                    _connector="OR",
                ),
                name="accepted_proposal_has_its_visit",
            ),
        ),
        migrations.AddConstraint(
            model_name="sitehours",
            constraint=models.UniqueConstraint(fields=("site", "weekday", "opens_at"), name="site_hours_once"),
        ),
        migrations.AddConstraint(
            model_name="sitehours",
            constraint=models.CheckConstraint(
                condition=models.Q(("opens_at__lt", models.F("closes_at"))), name="site_hours_in_order"
            ),
        ),
        migrations.AddConstraint(
            model_name="sitehours",
            constraint=models.CheckConstraint(
                condition=models.Q(("weekday__gte", 1), ("weekday__lte", 7)), name="site_hours_weekday"
            ),
        ),
        migrations.AddConstraint(
            model_name="coverchange",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("kind__in", ["due_item_waived", "transfer_notified", "terms_moved", "ended", "end_taken_back"])
                ),
                name="cover_change_kind_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="coverchange",
            constraint=models.CheckConstraint(
                condition=models.Q(("reason", ""), _negated=True), name="cover_change_says_why"
            ),
        ),
        migrations.AddConstraint(
            model_name="cover",
            constraint=models.UniqueConstraint(
                condition=models.Q(("ended_on__isnull", True)), fields=("vehicle",), name="one_open_cover_per_vehicle"
            ),
        ),
        migrations.AddConstraint(
            model_name="cover",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("ended_on__isnull", True), models.Q(("end_reason", ""), _negated=True), _connector="OR"
                ),
                name="cover_end_says_why",
            ),
        ),
        migrations.AddConstraint(
            model_name="termsversion",
            constraint=models.UniqueConstraint(fields=("terms", "version"), name="terms_version_once"),
        ),
        migrations.AddConstraint(
            model_name="workduration",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    (
                        "visit__in",
                        ["first_treatment", "annual_touch_up", "reinspection", "after_repair", "look_at_rust"],
                    )
                ),
                name="duration_visit_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="workduration",
            constraint=models.CheckConstraint(
                condition=models.Q(("body_style__in", ["car", "hatchback", "suv_or_wagon", "pickup", "van", ""])),
                name="duration_style_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="workduration",
            constraint=models.CheckConstraint(
                condition=models.Q(("bay_kind__in", ["lift", "ground"])), name="duration_bay_known"
            ),
        ),
        migrations.AddConstraint(
            model_name="workduration",
            constraint=models.CheckConstraint(
                condition=models.Q(("skill__in", ["inspecting", "spraying"])), name="duration_skill_known"
            ),
        ),
        migrations.AddConstraint(
            model_name="workduration",
            constraint=models.UniqueConstraint(fields=("site", "visit", "body_style"), name="duration_once_per_site"),
        ),
        migrations.AddConstraint(
            model_name="workduration",
            constraint=models.UniqueConstraint(
                condition=models.Q(("site__isnull", True)),
                fields=("visit", "body_style"),
                name="duration_once_everywhere",
            ),
        ),
        migrations.AddConstraint(
            model_name="workduration",
            constraint=models.CheckConstraint(condition=models.Q(("work_minutes__gt", 0)), name="duration_takes_time"),
        ),
        migrations.AddIndex(
            model_name="coverstate",
            index=models.Index(fields=["status"], name="scheduling__status_1d2314_idx"),
        ),
        migrations.AddIndex(
            model_name="coverstate",
            index=models.Index(fields=["recheck_on"], name="state_recheck"),
        ),
        migrations.AddIndex(
            model_name="coverstate",
            index=models.Index(fields=["due_grace_until", "cover", "due_last_on", "due_opens_on"], name="due_by_grace"),
        ),
        migrations.AddIndex(
            model_name="coverstate",
            index=models.Index(fields=["due_last_on", "cover", "due_opens_on"], name="due_by_last"),
        ),
        migrations.AddIndex(
            model_name="coverstate",
            index=models.Index(fields=["due_opens_on", "cover"], name="due_by_opening"),
        ),
        migrations.AddIndex(
            model_name="coverstate",
            index=models.Index(
                fields=["risk_on", "cover", "due_grace_until", "due_last_on", "due_opens_on"], name="due_by_risk"
            ),
        ),
        migrations.AddIndex(
            model_name="coverstate",
            index=models.Index(fields=["site", "due_grace_until", "cover"], name="due_by_site_grace"),
        ),
        migrations.AddIndex(
            model_name="coverstate",
            index=models.Index(
                fields=["site", "risk_on", "cover", "due_grace_until", "due_last_on", "due_opens_on"],
                name="due_by_site_risk",
            ),
        ),
        migrations.AddIndex(
            model_name="coverstate",
            index=models.Index(fields=["dealership", "due_grace_until", "cover"], name="due_by_dealership"),
        ),
        migrations.AddIndex(
            model_name="coverstate",
            index=models.Index(
                condition=models.Q(("booked_on__isnull", False)),
                fields=["due_grace_until", "cover", "due_last_on", "due_opens_on"],
                name="due_and_booked",
            ),
        ),
        migrations.AddConstraint(
            model_name="coverstate",
            constraint=models.CheckConstraint(
                condition=models.Q(("status__in", ["pending", "in_force", "suspended", "lapsed", "expired", "ended"])),
                name="cover_status_known",
            ),
        ),
    ]
