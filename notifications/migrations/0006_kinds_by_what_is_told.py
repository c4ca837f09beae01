from django.db import migrations, models

KINDS = [
    ("visit_due", "visit due"),
    ("in_grace", "in grace"),
    ("visit_missed", "visit missed"),
    ("film_due", "film due"),
    ("film_overdue", "film overdue"),
    ("to_complete", "to complete"),
    ("visit_booked", "visit booked"),
    ("visit_moved", "visit moved"),
    ("visit_cancelled", "visit cancelled"),
]


class Migration(migrations.Migration):
    """Name two kinds of message by what they tell: the grace is no "last days", a missed visit need not suspend."""

    dependencies = [("notifications", "0005_calendars")]

    operations = [
        migrations.RemoveConstraint(model_name="message", name="message_kind_known"),
        migrations.RunSQL(
            sql=[
                "UPDATE notifications_message SET kind = 'in_grace' WHERE kind = 'last_days'",
                "UPDATE notifications_message SET kind = 'visit_missed' WHERE kind = 'suspended'",
            ],
            reverse_sql=[
                "UPDATE notifications_message SET kind = 'last_days' WHERE kind = 'in_grace'",
                "UPDATE notifications_message SET kind = 'suspended' WHERE kind = 'visit_missed'",
            ],
        ),
        migrations.AlterField(model_name="message", name="kind", field=models.CharField(choices=KINDS, max_length=16)),
        migrations.AddConstraint(
            model_name="message",
            constraint=models.CheckConstraint(
                condition=models.Q(kind__in=[kind for kind, _ in KINDS]), name="message_kind_known"
            ),
        ),
    ]
