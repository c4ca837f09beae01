import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import notifications.models


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("scheduling", "0001_initial"),
        ("treatments", "0001_initial"),
    ]

    operations = [
        migrations.CreateModel(
            name="CalendarFeed",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("created_at", models.DateTimeField()),
                ("stopped_at", models.DateTimeField(blank=True, null=True)),
                (
                    "bay",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="feeds",
                        to="scheduling.bay",
                    ),
                ),
                (
                    "person",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="feeds",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ["id"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("bay__isnull", False), ("person__isnull", True)),
                            models.Q(("bay__isnull", True), ("person__isnull", False)),
                            _connector="OR",
                        ),
                        name="feed_of_a_bay_or_a_person",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("stopped_at__isnull", True)), fields=("bay",), name="one_open_feed_of_a_bay"
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("stopped_at__isnull", True)),
                        fields=("person",),
                        name="one_open_feed_of_a_person",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Message",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.CharField(max_length=160, unique=True)),
                ("due_keys", models.JSONField(default=list, help_text="the due items that it tells of")),
                ("calendar", models.TextField(blank=True, help_text="the invitation that goes with it, RFC 5545")),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("visit_due", "visit due"),
                            ("in_grace", "in grace"),
                            ("visit_missed", "visit missed"),
                            ("film_due", "film due"),
                            ("film_overdue", "film overdue"),
                            ("to_complete", "to complete"),
                            ("visit_booked", "visit booked"),
                            ("visit_moved", "visit moved"),
                            ("visit_cancelled", "visit cancelled"),
                        ],
                        max_length=16,
                    ),
                ),
                (
                    "channel",
                    models.CharField(
                        choices=[("email", "email")], default=notifications.models.Channel["EMAIL"], max_length=8
                    ),
                ),
                ("address", models.EmailField(max_length=254)),
                ("subject", models.CharField(max_length=200)),
                ("body", models.TextField()),
                ("due_at", models.DateTimeField()),
                (
                    "status",
                    models.CharField(
                        choices=[
                            ("waiting", "waiting"),
                            ("leased", "leased"),
                            ("sent", "sent"),
                            ("failed", "failed"),
                            ("withdrawn", "withdrawn"),
                        ],
                        default=notifications.models.MessageStatus["WAITING"],
                        max_length=10,
                    ),
                ),
                ("leased_until", models.DateTimeField(blank=True, null=True)),
                ("attempts", models.PositiveSmallIntegerField(default=0)),
                ("last_error", models.CharField(blank=True, max_length=300)),
                ("sent_at", models.DateTimeField(blank=True, null=True)),
                ("created_at", models.DateTimeField()),
                (
                    "appointment",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="messages",
                        to="scheduling.appointment",
                    ),
                ),
                (
                    "cover",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="messages",
                        to="scheduling.cover",
                    ),
                ),
                (
                    "customer",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="messages", to="treatments.customer"
                    ),
                ),
            ],
            options={
                "ordering": ["due_at", "id"],
                "indexes": [models.Index(fields=["status", "due_at"], name="notificatio_status_ccd0ca_idx")],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "kind__in",
                                [
                                    "visit_due",
                                    "in_grace",
                                    "visit_missed",
                                    "film_due",
                                    "film_overdue",
                                    "to_complete",
                                    "visit_booked",
                                    "visit_moved",
                                    "visit_cancelled",
                                ],
                            )
                        ),
                        name="message_kind_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("channel__in", ["email"])), name="message_channel_known"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("status__in", ["waiting", "leased", "sent", "failed", "withdrawn"])),
                        name="message_status_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("status", notifications.models.MessageStatus["SENT"]), _negated=True),
                            ("sent_at__isnull", False),
                            _connector="OR",
                        ),
                        name="sent_message_has_its_moment",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("appointment__isnull", False),
                                ("kind__in", ["visit_booked", "visit_moved", "visit_cancelled"]),
                            ),
                            models.Q(
                                models.Q(
                                    ("kind__in", ["visit_booked", "visit_moved", "visit_cancelled"]), _negated=True
                                ),
                                ("appointment__isnull", True),
                            ),
                            _connector="OR",
                        ),
                        name="message_kind_goes_with_appointment",
                    ),
                ],
            },
        ),
    ]
