from django.db import migrations, models

from treatments.reference_triggers import drop_stamp, give_first_stamp, watch_table

# All but when somebody logged in last.
OF_USERS = ("username", "first_name", "last_name", "is_active", "is_superuser", "role", "site_id", "dealership_id")


class Migration(migrations.Migration):
    dependencies = [
        ("treatments", "0007_material_uses"),
    ]

    operations = [
        migrations.CreateModel(
            name="ReferenceStamp",
            fields=[
                ("id", models.SmallAutoField(primary_key=True, serialize=False)),
                ("stamp", models.BigIntegerField()),
            ],
            options={
                "constraints": [models.CheckConstraint(condition=models.Q(("pk", 1)), name="one_reference_stamp")],
            },
        ),
        migrations.RunPython(give_first_stamp, drop_stamp),
        watch_table("treatments_site"),
        watch_table("treatments_dealership"),
        watch_table("treatments_zone"),
        watch_table("treatments_zonearea"),
        watch_table("treatments_product"),
        watch_table("treatments_user", OF_USERS),
    ]
