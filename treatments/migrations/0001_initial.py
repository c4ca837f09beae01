from decimal import Decimal

import django.contrib.auth.models
import django.contrib.auth.validators
import django.core.validators
import django.db.models.deletion
import django.db.models.functions.text
import django.db.models.lookups
import django.utils.timezone
from django.conf import settings
from django.db import migrations, models

import treatments.enums
import treatments.models.people
import treatments.vehicles.rules.vin


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("auth", "0012_alter_user_first_name_max_length"),
    ]

    operations = [
        migrations.CreateModel(
            name="Dealership",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("code", models.SlugField(unique=True)),
                ("name", models.CharField(max_length=120)),
                ("email", models.EmailField(blank=True, max_length=254)),
                ("phone", models.CharField(blank=True, max_length=40)),
            ],
            options={
                "ordering": ["code"],
            },
        ),
        migrations.CreateModel(
            name="EventReader",
            fields=[
                ("name", models.CharField(max_length=60, primary_key=True, serialize=False)),
                ("position", models.BigIntegerField(default=0)),
            ],
        ),
        migrations.CreateModel(
            name="OdometerReading",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("day", models.DateField()),
                ("amount", models.DecimalField(decimal_places=1, max_digits=10)),
                ("unit", models.CharField(choices=[("km", "km"), ("mi", "mi")], max_length=4)),
                ("kilometres", models.DecimalField(decimal_places=6, max_digits=14)),
                ("source", models.CharField(blank=True, max_length=120)),
                (
                    "by_itself",
                    models.BooleanField(
                        db_default=False, default=False, help_text="written down by itself, whatever becomes of a visit"
                    ),
                ),
                ("recorded_at", models.DateTimeField()),
                ("withdrawn_at", models.DateTimeField(blank=True, null=True)),
            ],
            options={
                "ordering": ["vehicle_id", "day", "id"],
            },
        ),
        migrations.CreateModel(
            name="Customer",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("name", models.CharField(max_length=200)),
                ("contact", models.CharField(blank=True, help_text="as entered: e-mail or telephone", max_length=200)),
                ("email", models.EmailField(blank=True, max_length=254)),
                ("phone", models.CharField(blank=True, max_length=40)),
                ("address", models.TextField(blank=True)),
                ("language", models.CharField(default="en", max_length=8)),
                ("match_key", models.CharField(editable=False, max_length=420, unique=True)),
                ("messages_stopped_at", models.DateTimeField(blank=True, null=True)),
                ("created_at", models.DateTimeField()),
            ],
            options={
                "ordering": ["name", "id"],
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("name", ""), _negated=True), name="customer_has_a_name")
                ],
            },
        ),
        migrations.CreateModel(
            name="User",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("password", models.CharField(max_length=128, verbose_name="password")),
                ("last_login", models.DateTimeField(blank=True, null=True, verbose_name="last login")),
                (
                    "is_superuser",
                    models.BooleanField(
                        default=False,
                        help_text="Designates that this user has all permissions without explicitly assigning them.",
                        verbose_name="superuser status",
                    ),
                ),
                (
                    "username",
                    models.CharField(
                        error_messages={"unique": "A user with that username already exists."},
                        help_text="Required. 150 characters or fewer. Letters, digits and @/./+/-/_ only.",
                        max_length=150,
                        unique=True,
                        validators=[django.contrib.auth.validators.UnicodeUsernameValidator()],
                        verbose_name="username",
                    ),
                ),
                ("first_name", models.CharField(blank=True, max_length=150, verbose_name="first name")),
                ("last_name", models.CharField(blank=True, max_length=150, verbose_name="last name")),
                ("email", models.EmailField(blank=True, max_length=254, verbose_name="email address")),
                (
                    "is_staff",
                    models.BooleanField(
                        default=False,
                        help_text="Designates whether the user can log into this admin site.",
                        verbose_name="staff status",
                    ),
                ),
                (
                    "is_active",
                    models.BooleanField(
                        default=True,
                        help_text="Designates whether this user should be treated as active. Unselect this instead of deleting accounts.",
                        verbose_name="active",
                    ),
                ),
                ("date_joined", models.DateTimeField(default=django.utils.timezone.now, verbose_name="date joined")),
                (
                    "role",
                    models.CharField(
                        choices=[
                            ("applicator", "applicator"),
                            ("service_writer", "service writer"),
                            ("warranty_administrator", "warranty administrator"),
                            ("owner", "owner"),
                            ("dealership", "dealership"),
                        ],
                        default=treatments.models.people.Role["SERVICE_WRITER"],
                        max_length=24,
                    ),
                ),
                (
                    "groups",
                    models.ManyToManyField(
                        blank=True,
                        help_text="The groups this user belongs to. A user will get all permissions granted to each of their groups.",
                        related_name="user_set",
                        related_query_name="user",
                        to="auth.group",
                        verbose_name="groups",
                    ),
                ),
                (
                    "user_permissions",
                    models.ManyToManyField(
                        blank=True,
                        help_text="Specific permissions for this user.",
                        related_name="user_set",
                        related_query_name="user",
                        to="auth.permission",
                        verbose_name="user permissions",
                    ),
                ),
                (
                    "dealership",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="people",
                        to="treatments.dealership",
                    ),
                ),
            ],
            options={
                "verbose_name": "user",
                "verbose_name_plural": "users",
                "abstract": False,
            },
            managers=[
                ("objects", django.contrib.auth.models.UserManager()),
            ],
        ),
        migrations.CreateModel(
            name="Event",
            fields=[
                ("position", models.BigIntegerField(primary_key=True, serialize=False)),
                ("happened_at", models.DateTimeField()),
                ("kind", models.CharField(max_length=60)),
                ("subject", models.CharField(help_text="what it is about, e.g. vehicle", max_length=60)),
                ("subject_id", models.CharField(max_length=40)),
                ("before", models.JSONField(blank=True, null=True)),
                ("after", models.JSONField(blank=True, null=True)),
                (
                    "signed",
                    models.JSONField(
                        blank=True,
                        help_text="digests of the signed-off rows that it stands for, by list and key",
                        null=True,
                    ),
                ),
                (
                    "key_name",
                    models.CharField(
                        help_text="which key it was written with; see treatments.event_log.keys", max_length=8
                    ),
                ),
                ("previous_hash", models.CharField(max_length=64)),
                ("hash", models.CharField(max_length=64, unique=True)),
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
            ],
            options={
                "ordering": ["position"],
            },
        ),
        migrations.CreateModel(
            name="EventLogHead",
            fields=[
                ("id", models.PositiveSmallIntegerField(default=1, primary_key=True, serialize=False)),
                ("position", models.BigIntegerField(default=0)),
                (
                    "hash",
                    models.CharField(
                        default="0000000000000000000000000000000000000000000000000000000000000000", max_length=64
                    ),
                ),
                ("key_name", models.CharField(blank=True, max_length=8)),
                ("keyed_hash", models.CharField(blank=True, help_text="of position and hash", max_length=64)),
            ],
            options={
                "constraints": [models.CheckConstraint(condition=models.Q(("id", 1)), name="one_event_log_head")],
            },
        ),
        migrations.CreateModel(
            name="EventWords",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "path",
                    models.CharField(help_text="where in the event they stand, such as after.reason", max_length=120),
                ),
                ("text", models.TextField()),
                ("salt", models.CharField(max_length=32)),
                (
                    "event",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="words", to="treatments.event"
                    ),
                ),
            ],
            options={
                "verbose_name_plural": "event words",
                "ordering": ["event_id", "path"],
            },
        ),
        migrations.CreateModel(
            name="Inspection",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("odometer_amount", models.DecimalField(blank=True, decimal_places=1, max_digits=10, null=True)),
                (
                    "odometer_unit",
                    models.CharField(
                        blank=True, choices=[("km", "km"), ("mi", "mi")], db_default="", default="", max_length=4
                    ),
                ),
                ("note", models.TextField(blank=True)),
                ("recorded_at", models.DateTimeField()),
                ("signed_off_at", models.DateTimeField(blank=True, null=True)),
                ("amendment_reason", models.CharField(blank=True, db_default="", default="", max_length=300)),
                ("done_on", models.DateField()),
                (
                    "kind",
                    models.CharField(
                        choices=[("intake", "intake"), ("reinspection", "reinspection"), ("claim", "claim")],
                        max_length=16,
                    ),
                ),
                (
                    "amends",
                    models.OneToOneField(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="amended_by",
                        to="treatments.inspection",
                    ),
                ),
                (
                    "inspector",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="inspections",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "signed_off_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "reading",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        to="treatments.odometerreading",
                    ),
                ),
            ],
            options={
                "ordering": ["vehicle_id", "done_on", "id"],
            },
        ),
        migrations.CreateModel(
            name="InspectionLine",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "rusted_area_percent",
                    models.DecimalField(
                        blank=True,
                        decimal_places=3,
                        max_digits=6,
                        null=True,
                        validators=[
                            django.core.validators.MinValueValidator(Decimal("0")),
                            django.core.validators.MaxValueValidator(Decimal("100")),
                        ],
                    ),
                ),
                ("perforated", models.BooleanField(default=False)),
                (
                    "film_state",
                    models.CharField(
                        choices=[
                            ("intact", "intact"),
                            ("thin", "thin"),
                            ("missing", "missing"),
                            ("not_seen", "not seen"),
                        ],
                        default=treatments.enums.FilmState["NOT_SEEN"],
                        max_length=12,
                    ),
                ),
                ("action", models.CharField(blank=True, max_length=200)),
                ("not_seen_reason", models.CharField(blank=True, db_default="", default="", max_length=200)),
                (
                    "inspection",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="lines", to="treatments.inspection"
                    ),
                ),
            ],
            options={
                "ordering": ["inspection_id", "id"],
            },
        ),
        migrations.CreateModel(
            name="PersonTraining",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "training",
                    models.CharField(
                        choices=[("high_voltage", "high voltage"), ("gas_systems", "gas systems")], max_length=16
                    ),
                ),
                ("expires_on", models.DateField(help_text="the last day on which it is good")),
                ("recorded_at", models.DateTimeField()),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="trainings",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ["person_id", "training"],
            },
        ),
        migrations.CreateModel(
            name="Photo",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("image", models.ImageField(upload_to="photos/%Y/%m/")),
                ("sha256", models.CharField(max_length=64)),
                ("note", models.CharField(blank=True, max_length=200)),
                ("recorded_at", models.DateTimeField()),
                (
                    "line",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="photos",
                        to="treatments.inspectionline",
                    ),
                ),
            ],
            options={
                "ordering": ["line_id", "id"],
            },
        ),
        migrations.CreateModel(
            name="Product",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("name", models.CharField(max_length=120, unique=True)),
                ("maker", models.CharField(blank=True, max_length=120)),
                ("aliases", models.JSONField(blank=True, default=list)),
                (
                    "family",
                    models.CharField(
                        choices=[
                            ("penetrating_film", "penetrating film"),
                            ("cavity_wax", "cavity wax"),
                            ("underbody_wax", "underbody wax"),
                            ("sound_deadening_undercoat", "sound deadening undercoat"),
                            ("water_displacing_first_coat", "water displacing first coat"),
                            ("clear_engine_bay_film", "clear engine bay film"),
                        ],
                        max_length=32,
                    ),
                ),
                ("volume_solids_percent", models.DecimalField(decimal_places=2, max_digits=5)),
                ("target_dry_film_um", models.DecimalField(decimal_places=1, max_digits=7)),
                ("loss_fraction", models.DecimalField(decimal_places=3, default=0, max_digits=4)),
                ("water_displacing", models.BooleanField(default=False)),
                ("surface_min_c", models.DecimalField(blank=True, decimal_places=1, max_digits=5, null=True)),
                ("surface_max_c", models.DecimalField(blank=True, decimal_places=1, max_digits=5, null=True)),
                ("gun_pressure_kpa", models.DecimalField(blank=True, decimal_places=1, max_digits=6, null=True)),
                ("gun_nozzle_mm", models.DecimalField(blank=True, decimal_places=2, max_digits=4, null=True)),
                ("shelf_life_months", models.PositiveSmallIntegerField(blank=True, null=True)),
            ],
            options={
                "ordering": ["name"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "family__in",
                                [
                                    "penetrating_film",
                                    "cavity_wax",
                                    "underbody_wax",
                                    "sound_deadening_undercoat",
                                    "water_displacing_first_coat",
                                    "clear_engine_bay_film",
                                ],
                            )
                        ),
                        name="product_family_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("volume_solids_percent__gt", 0), ("volume_solids_percent__lte", 100)),
                        name="product_volume_solids_percent",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("target_dry_film_um__gt", 0)), name="product_target_film_positive"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("loss_fraction__gte", 0), ("loss_fraction__lt", 1)),
                        name="product_loss_fraction",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Lot",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("number", models.CharField(max_length=60)),
                ("received_on", models.DateField(blank=True, null=True)),
                ("expires_on", models.DateField(blank=True, null=True)),
                ("quantity_received_ml", models.DecimalField(blank=True, decimal_places=4, max_digits=14, null=True)),
                ("recalled_on", models.DateField(blank=True, null=True)),
                ("recall_reason", models.CharField(blank=True, max_length=200)),
                ("recall_recorded_at", models.DateTimeField(blank=True, editable=False, null=True)),
                (
                    "product",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="lots", to="treatments.product"
                    ),
                ),
            ],
            options={
                "ordering": ["product_id", "number"],
            },
        ),
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
        migrations.CreateModel(
            name="SentForm",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.UUIDField(unique=True)),
                (
                    "purpose",
                    models.CharField(help_text="what the form was for, with its vehicle or record", max_length=120),
                ),
                ("content_sha256", models.CharField(max_length=64)),
                ("outcome", models.CharField(help_text="the address of the record that came of it", max_length=200)),
                ("recorded_at", models.DateTimeField()),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
            options={
                "ordering": ["id"],
            },
        ),
        migrations.CreateModel(
            name="Site",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("code", models.SlugField(unique=True)),
                ("name", models.CharField(max_length=120)),
                ("address", models.TextField(blank=True)),
                ("postal_code", models.CharField(blank=True, max_length=16)),
                ("country", models.CharField(default="US", help_text="ISO 3166-1 alpha-2", max_length=2)),
                (
                    "subdivision",
                    models.CharField(blank=True, help_text="ISO 3166-2 part, for public holidays", max_length=3),
                ),
                (
                    "time_zone",
                    models.CharField(
                        default="UTC", max_length=64, validators=[treatments.models.people.check_time_zone]
                    ),
                ),
                ("currency", models.CharField(default="USD", help_text="ISO 4217", max_length=3)),
                (
                    "corrosivity",
                    models.CharField(
                        choices=[("C1", "C1"), ("C2", "C2"), ("C3", "C3"), ("C4", "C4"), ("C5", "C5"), ("CX", "CX")],
                        default=treatments.enums.CorrosivityCategory["C3"],
                        help_text="ISO 9223",
                        max_length=2,
                    ),
                ),
                ("email", models.EmailField(blank=True, max_length=254)),
                ("phone", models.CharField(blank=True, max_length=40)),
            ],
            options={
                "ordering": ["code"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("corrosivity__in", ["C1", "C2", "C3", "C4", "C5", "CX"])),
                        name="site_corrosivity_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            django.db.models.lookups.Exact(
                                models.F("country"), django.db.models.functions.text.Upper("country")
                            ),
                            django.db.models.lookups.Exact(django.db.models.functions.text.Length("country"), 2),
                        ),
                        name="site_country_is_code",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            django.db.models.lookups.Exact(
                                models.F("currency"), django.db.models.functions.text.Upper("currency")
                            ),
                            django.db.models.lookups.Exact(django.db.models.functions.text.Length("currency"), 3),
                        ),
                        name="site_currency_is_code",
                    ),
                    models.CheckConstraint(
                        condition=django.db.models.lookups.Exact(
                            models.F("subdivision"), django.db.models.functions.text.Upper("subdivision")
                        ),
                        name="site_subdivision_is_code",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("time_zone", ""), _negated=True), name="site_has_time_zone"
                    ),
                ],
            },
        ),
        migrations.AddField(
            model_name="inspection",
            name="site",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="inspections", to="treatments.site"
            ),
        ),
        migrations.AddField(
            model_name="user",
            name="site",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="people",
                to="treatments.site",
            ),
        ),
        migrations.CreateModel(
            name="Treatment",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("odometer_amount", models.DecimalField(blank=True, decimal_places=1, max_digits=10, null=True)),
                (
                    "odometer_unit",
                    models.CharField(
                        blank=True, choices=[("km", "km"), ("mi", "mi")], db_default="", default="", max_length=4
                    ),
                ),
                ("note", models.TextField(blank=True)),
                ("recorded_at", models.DateTimeField()),
                ("signed_off_at", models.DateTimeField(blank=True, null=True)),
                ("amendment_reason", models.CharField(blank=True, db_default="", default="", max_length=300)),
                ("done_on", models.DateField()),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("first_treatment", "first treatment"),
                            ("annual_touch_up", "annual touch-up"),
                            ("after_repair", "after repair"),
                        ],
                        max_length=24,
                    ),
                ),
                ("air_temperature_c", models.DecimalField(blank=True, decimal_places=1, max_digits=4, null=True)),
                ("surface_temperature_c", models.DecimalField(blank=True, decimal_places=1, max_digits=4, null=True)),
                (
                    "relative_humidity_percent",
                    models.DecimalField(blank=True, decimal_places=1, max_digits=4, null=True),
                ),
                ("surface_clean", models.BooleanField(blank=True, null=True)),
                ("surface_dry", models.BooleanField(blank=True, null=True)),
                (
                    "source",
                    models.CharField(
                        blank=True, help_text="where the record came from, if not the desk", max_length=200
                    ),
                ),
                (
                    "amends",
                    models.OneToOneField(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="amended_by",
                        to="treatments.treatment",
                    ),
                ),
                (
                    "applicator",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="treatments",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "reading",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        to="treatments.odometerreading",
                    ),
                ),
                (
                    "signed_off_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="treatments", to="treatments.site"
                    ),
                ),
            ],
            options={
                "ordering": ["vehicle_id", "done_on", "id"],
            },
        ),
        migrations.CreateModel(
            name="MaterialTotal",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("quantity_amount", models.DecimalField(decimal_places=3, max_digits=10)),
                (
                    "quantity_unit",
                    models.CharField(
                        choices=[
                            ("us_quart", "US quart"),
                            ("litre", "litre"),
                            ("us_gallon", "US gallon"),
                            ("millilitre", "millilitre"),
                        ],
                        max_length=12,
                    ),
                ),
                ("quantity_ml", models.DecimalField(decimal_places=4, max_digits=14)),
                (
                    "measured_by",
                    models.CharField(
                        choices=[
                            ("canister", "by the canister (exact)"),
                            ("pump", "by the pump (not exact)"),
                            ("estimate", "by estimate (not exact)"),
                        ],
                        max_length=12,
                    ),
                ),
                (
                    "lot",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="totals",
                        to="treatments.lot",
                    ),
                ),
                (
                    "product",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="treatments.product"
                    ),
                ),
                (
                    "treatment",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="totals", to="treatments.treatment"
                    ),
                ),
            ],
            options={
                "ordering": ["treatment_id", "id"],
            },
        ),
        migrations.CreateModel(
            name="Vehicle",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("vin", models.CharField(max_length=20, unique=True, verbose_name="VIN")),
                (
                    "vin_mark",
                    models.CharField(
                        choices=[
                            ("standard", "standard"),
                            ("pre_1981", "pre 1981"),
                            ("non_road_serial", "non road serial"),
                        ],
                        default=treatments.vehicles.rules.vin.VinMark["STANDARD"],
                        max_length=16,
                    ),
                ),
                ("plate", models.CharField(blank=True, db_index=True, max_length=16)),
                ("description", models.CharField(blank=True, help_text="as the shop writes it", max_length=200)),
                ("model_year", models.PositiveSmallIntegerField(blank=True, null=True)),
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
                ("in_service_on", models.DateField(blank=True, null=True)),
                ("created_at", models.DateTimeField()),
            ],
            options={
                "ordering": ["vin"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("vin_mark__in", ["standard", "pre_1981", "non_road_serial"])),
                        name="vehicle_vin_mark_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("body_style__in", ["car", "hatchback", "suv_or_wagon", "pickup", "van", ""])
                        ),
                        name="vehicle_body_style_known",
                    ),
                    models.CheckConstraint(condition=models.Q(("vin", ""), _negated=True), name="vehicle_has_a_vin"),
                ],
            },
        ),
        migrations.AddField(
            model_name="treatment",
            name="vehicle",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="treatments", to="treatments.vehicle"
            ),
        ),
        migrations.CreateModel(
            name="PlaceOfUse",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "corrosivity",
                    models.CharField(
                        blank=True,
                        choices=[("C1", "C1"), ("C2", "C2"), ("C3", "C3"), ("C4", "C4"), ("C5", "C5"), ("CX", "CX")],
                        help_text="ISO 9223 category; blank where it is not known, so that the site's counts",
                        max_length=2,
                    ),
                ),
                ("from_day", models.DateField(help_text="the day from which the vehicle is used there")),
                (
                    "known_on",
                    models.DateField(
                        help_text="the day on which the shop knew it; it counts from then at the earliest"
                    ),
                ),
                ("recorded_at", models.DateTimeField()),
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
                (
                    "vehicle",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="places_of_use",
                        to="treatments.vehicle",
                    ),
                ),
            ],
            options={
                "ordering": ["vehicle_id", "from_day", "id"],
            },
        ),
        migrations.CreateModel(
            name="Ownership",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("from_day", models.DateField()),
                (
                    "until_day",
                    models.DateField(blank=True, help_text="first day on which this owner no longer has it", null=True),
                ),
                (
                    "told_on",
                    models.DateField(
                        blank=True, help_text="the day on which the shop was told of this owner", null=True
                    ),
                ),
                ("recorded_at", models.DateTimeField()),
                (
                    "customer",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="ownerships", to="treatments.customer"
                    ),
                ),
                (
                    "vehicle",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="ownerships", to="treatments.vehicle"
                    ),
                ),
            ],
            options={
                "ordering": ["vehicle_id", "from_day", "id"],
            },
        ),
        migrations.AddField(
            model_name="odometerreading",
            name="vehicle",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.CASCADE, related_name="readings", to="treatments.vehicle"
            ),
        ),
        migrations.CreateModel(
            name="MaterialUse",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("done_on", models.DateField()),
                ("quantity_ml", models.DecimalField(decimal_places=4, max_digits=14)),
                ("zones", models.PositiveSmallIntegerField()),
                (
                    "lot",
                    models.ForeignKey(
                        blank=True,
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="+",
                        to="treatments.lot",
                    ),
                ),
                (
                    "product",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="+",
                        to="treatments.product",
                    ),
                ),
                (
                    "treatment",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="uses", to="treatments.treatment"
                    ),
                ),
                (
                    "vehicle",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="+",
                        to="treatments.vehicle",
                    ),
                ),
            ],
            options={
                "ordering": ["-done_on", "-treatment_id", "id"],
            },
        ),
        migrations.AddField(
            model_name="inspection",
            name="vehicle",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="inspections", to="treatments.vehicle"
            ),
        ),
        migrations.CreateModel(
            name="VehicleChange",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("owner_changed", "owner changed"),
                            ("sold", "sold"),
                            ("place_of_use_changed", "place of use changed"),
                            ("corrected", "corrected"),
                        ],
                        max_length=24,
                    ),
                ),
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
                    "vehicle",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="changes", to="treatments.vehicle"
                    ),
                ),
            ],
            options={
                "ordering": ["vehicle_id", "id"],
            },
        ),
        migrations.CreateModel(
            name="Zone",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("code", models.SlugField(unique=True)),
                ("name", models.CharField(max_length=120)),
                ("aliases", models.JSONField(blank=True, default=list)),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("enclosed_cavity", "enclosed cavity"),
                            ("seam", "seam"),
                            ("exposed_underside", "exposed underside"),
                            ("wheel_well", "wheel well"),
                            ("engine_bay", "engine bay"),
                            ("load_space", "load space"),
                            ("opening_panel", "opening panel"),
                            ("never_coated", "never coated"),
                        ],
                        max_length=24,
                    ),
                ),
                (
                    "stage",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("inspect_and_find_access", "inspect and find access"),
                            ("wash_and_dry", "wash and dry"),
                            ("cavities_from_below", "cavities from below"),
                            ("open_underside", "open underside"),
                            ("wheel_wells", "wheel wells"),
                            ("on_the_ground", "on the ground"),
                        ],
                        max_length=32,
                    ),
                ),
                (
                    "height",
                    models.CharField(
                        blank=True, choices=[("lift", "lift"), ("waist", "waist"), ("ground", "ground")], max_length=8
                    ),
                ),
                ("sequence", models.PositiveSmallIntegerField(default=0)),
                ("suited_families", models.JSONField(blank=True, default=list)),
                ("access_points", models.JSONField(blank=True, default=list, help_text="list of {name, count}")),
                ("cautions", models.JSONField(blank=True, default=list)),
                ("plastic", models.BooleanField(default=False)),
                ("tools", models.JSONField(blank=True, help_text="list of spray tools that fit", null=True)),
                (
                    "door_approaches",
                    models.JSONField(blank=True, help_text="list of doors_from_below, doors_open", null=True),
                ),
                (
                    "to_guard",
                    models.JSONField(blank=True, help_text="list of what to cover or wipe, in words", null=True),
                ),
                (
                    "propulsions",
                    models.JSONField(blank=True, help_text="vehicles that have it; all where left empty", null=True),
                ),
                (
                    "withheld_on",
                    models.JSONField(blank=True, help_text="vehicles on which it is not coated", null=True),
                ),
                (
                    "has_own_source",
                    models.BooleanField(
                        blank=True,
                        help_text="the shop has a source for it; else it is common practice, without one",
                        null=True,
                    ),
                ),
                (
                    "added_at",
                    models.DateTimeField(
                        blank=True,
                        editable=False,
                        help_text="when it came into the catalogue; empty: always there",
                        null=True,
                    ),
                ),
            ],
            options={
                "ordering": ["code"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "kind__in",
                                [
                                    "enclosed_cavity",
                                    "seam",
                                    "exposed_underside",
                                    "wheel_well",
                                    "engine_bay",
                                    "load_space",
                                    "opening_panel",
                                    "never_coated",
                                ],
                            )
                        ),
                        name="zone_kind_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "stage__in",
                                [
                                    "inspect_and_find_access",
                                    "wash_and_dry",
                                    "cavities_from_below",
                                    "open_underside",
                                    "wheel_wells",
                                    "on_the_ground",
                                    "",
                                ],
                            )
                        ),
                        name="zone_stage_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("height__in", ["lift", "waist", "ground", ""])), name="zone_height_known"
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="VehicleFact",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("propulsion", "propulsion"),
                            ("fitted_part", "fitted part"),
                            ("zone_absent", "zone that the vehicle does not have"),
                            ("zone_forbidden", "zone that must not be coated"),
                            ("makers_instruction", "vehicle maker's instruction"),
                            ("withdrawn", "withdrawn"),
                        ],
                        max_length=20,
                    ),
                ),
                ("day", models.DateField(help_text="the day from which on it holds")),
                (
                    "propulsion",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("combustion", "combustion"),
                            ("hybrid", "hybrid"),
                            ("battery", "battery electric"),
                            ("lpg_or_cng", "LPG or CNG"),
                            ("hydrogen", "hydrogen"),
                            ("unknown", "unknown"),
                        ],
                        max_length=12,
                    ),
                ),
                ("words", models.CharField(blank=True, help_text="the part, the instruction, or why", max_length=300)),
                (
                    "source",
                    models.CharField(
                        choices=[
                            ("seen_on_vehicle", "seen on the vehicle"),
                            ("vehicle_maker", "vehicle maker"),
                            ("registration_document", "registration document"),
                            ("licensed_specialist", "licensed specialist"),
                            ("owner_said", "said by the owner"),
                            ("shop_log", "the shop's log"),
                        ],
                        max_length=24,
                    ),
                ),
                (
                    "source_words",
                    models.CharField(blank=True, help_text="such as the name and page of a document", max_length=200),
                ),
                ("image", models.ImageField(blank=True, upload_to="photos/%Y/%m/")),
                ("image_sha256", models.CharField(blank=True, max_length=64)),
                ("recorded_at", models.DateTimeField()),
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
                (
                    "vehicle",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="facts", to="treatments.vehicle"
                    ),
                ),
                (
                    "withdraws",
                    models.OneToOneField(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="withdrawn",
                        to="treatments.vehiclefact",
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
                "ordering": ["vehicle_id", "day", "id"],
            },
        ),
        migrations.CreateModel(
            name="TreatmentLine",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("quantity_amount", models.DecimalField(blank=True, decimal_places=3, max_digits=10, null=True)),
                (
                    "quantity_unit",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("us_quart", "US quart"),
                            ("litre", "litre"),
                            ("us_gallon", "US gallon"),
                            ("millilitre", "millilitre"),
                        ],
                        max_length=12,
                    ),
                ),
                ("quantity_ml", models.DecimalField(blank=True, decimal_places=4, max_digits=14, null=True)),
                ("tool", models.CharField(blank=True, max_length=80)),
                ("pressure_kpa", models.DecimalField(blank=True, decimal_places=2, max_digits=7, null=True)),
                ("wet_film_um", models.JSONField(blank=True, default=list)),
                ("access_points_used", models.PositiveSmallIntegerField(blank=True, null=True)),
                ("mist_seen_at_far_end", models.BooleanField(blank=True, null=True)),
                ("not_done_reason", models.CharField(blank=True, max_length=200)),
                (
                    "lot",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="lines",
                        to="treatments.lot",
                    ),
                ),
                (
                    "product",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="treatments.product",
                    ),
                ),
                (
                    "treatment",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="lines", to="treatments.treatment"
                    ),
                ),
                (
                    "zone",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="treatments.zone"
                    ),
                ),
            ],
            options={
                "ordering": ["treatment_id", "id"],
            },
        ),
        migrations.CreateModel(
            name="KeptPhoto",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("form_key", models.UUIDField()),
                ("image", models.ImageField(upload_to="photos/%Y/%m/")),
                ("sha256", models.CharField(max_length=64)),
                (
                    "name",
                    models.CharField(
                        help_text="the file's name on the tablet, for the person who sent it", max_length=200
                    ),
                ),
                ("recorded_at", models.DateTimeField(db_index=True)),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="+", to=settings.AUTH_USER_MODEL
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
                "ordering": ["id"],
            },
        ),
        migrations.AddField(
            model_name="inspectionline",
            name="zone",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="treatments.zone"
            ),
        ),
        migrations.CreateModel(
            name="ZoneArea",
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
                    ),
                ),
                ("area_m2", models.DecimalField(decimal_places=3, max_digits=6)),
                (
                    "is_measured",
                    models.BooleanField(
                        blank=True, help_text="measured by the shop; else an estimate of ours", null=True
                    ),
                ),
                (
                    "zone",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="areas", to="treatments.zone"
                    ),
                ),
            ],
            options={
                "ordering": ["zone_id", "body_style"],
            },
        ),
        migrations.AddIndex(
            model_name="event",
            index=models.Index(fields=["subject", "subject_id"], name="treatments__subject_d13b81_idx"),
        ),
        migrations.AddConstraint(
            model_name="eventwords",
            constraint=models.UniqueConstraint(fields=("event", "path"), name="event_words_once"),
        ),
        migrations.AddConstraint(
            model_name="eventwords",
            constraint=models.CheckConstraint(
                condition=models.Q(("salt", ""), _negated=True), name="event_words_are_salted"
            ),
        ),
        migrations.AddConstraint(
            model_name="persontraining",
            constraint=models.CheckConstraint(
                condition=models.Q(("training__in", ["high_voltage", "gas_systems"])), name="person_training_known"
            ),
        ),
        migrations.AddConstraint(
            model_name="persontraining",
            constraint=models.UniqueConstraint(fields=("person", "training"), name="one_training_of_a_kind_a_person"),
        ),
        migrations.AddConstraint(
            model_name="photo",
            constraint=models.UniqueConstraint(fields=("line", "sha256"), name="photo_once_per_zone"),
        ),
        migrations.AddConstraint(
            model_name="lot",
            constraint=models.UniqueConstraint(fields=("product", "number"), name="lot_number_once_per_product"),
        ),
        migrations.AddConstraint(
            model_name="lot",
            constraint=models.CheckConstraint(
                condition=models.Q(("number", ""), _negated=True), name="lot_has_a_number"
            ),
        ),
        migrations.AddConstraint(
            model_name="lot",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("recalled_on__isnull", True), models.Q(("recall_reason", ""), _negated=True), _connector="OR"
                ),
                name="recall_says_why",
            ),
        ),
        migrations.AddConstraint(
            model_name="user",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("role__in", ["applicator", "service_writer", "warranty_administrator", "owner", "dealership"])
                ),
                name="user_role_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="user",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("dealership__isnull", False), ("role", treatments.models.people.Role["DEALERSHIP"])),
                    models.Q(
                        models.Q(("role", treatments.models.people.Role["DEALERSHIP"]), _negated=True),
                        ("dealership__isnull", True),
                    ),
                    _connector="OR",
                ),
                name="user_dealership_goes_with_role",
            ),
        ),
        migrations.AddConstraint(
            model_name="materialtotal",
            constraint=models.CheckConstraint(
                condition=models.Q(("quantity_unit__in", ["us_quart", "litre", "us_gallon", "millilitre"])),
                name="total_unit_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="materialtotal",
            constraint=models.CheckConstraint(
                condition=models.Q(("measured_by__in", ["canister", "pump", "estimate"])),
                name="total_measured_by_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="materialtotal",
            constraint=models.CheckConstraint(condition=models.Q(("quantity_ml__gt", 0)), name="total_above_nothing"),
        ),
        migrations.AddConstraint(
            model_name="materialtotal",
            constraint=models.UniqueConstraint(fields=("treatment", "product", "lot"), name="total_once"),
        ),
        migrations.AddConstraint(
            model_name="materialtotal",
            constraint=models.UniqueConstraint(
                condition=models.Q(("lot__isnull", True)),
                fields=("treatment", "product"),
                name="total_once_without_lot",
            ),
        ),
        migrations.AddIndex(
            model_name="treatment",
            index=models.Index(fields=["vehicle", "done_on"], name="treatments__vehicle_d08777_idx"),
        ),
        migrations.AddConstraint(
            model_name="treatment",
            constraint=models.CheckConstraint(
                condition=models.Q(("kind__in", ["first_treatment", "annual_touch_up", "after_repair"])),
                name="treatment_kind_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="treatment",
            constraint=models.UniqueConstraint(
                condition=models.Q(("amends__isnull", True)),
                fields=("vehicle", "done_on", "kind"),
                name="one_treatment_of_a_kind_a_day",
            ),
        ),
        migrations.AddConstraint(
            model_name="treatment",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("amends__isnull", True), models.Q(("amendment_reason", ""), _negated=True), _connector="OR"
                ),
                name="amendment_says_why",
            ),
        ),
        migrations.AddConstraint(
            model_name="treatment",
            constraint=models.CheckConstraint(
                condition=models.Q(("odometer_unit__in", ["km", "mi", ""])), name="treatment_odometer_unit_known"
            ),
        ),
        migrations.AddConstraint(
            model_name="treatment",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(
                        ("odometer_amount__isnull", True), ("odometer_unit", ""), ("signed_off_at__isnull", False)
                    ),
                    models.Q(
                        ("odometer_amount__isnull", True),
                        ("odometer_unit", ""),
                        ("reading__isnull", True),
                        ("signed_off_at__isnull", True),
                    ),
                    models.Q(
                        ("odometer_amount__gte", 0),
                        ("reading__isnull", True),
                        ("signed_off_at__isnull", True),
                        models.Q(("odometer_unit", ""), _negated=True),
                    ),
                    _connector="OR",
                ),
                name="treatment_reading_once_signed",
            ),
        ),
        migrations.AddConstraint(
            model_name="treatment",
            constraint=models.CheckConstraint(
                condition=models.Q(("amends__isnull", True), ("signed_off_at__isnull", False), _connector="OR"),
                name="treatment_amendment_signed",
            ),
        ),
        migrations.AddConstraint(
            model_name="treatment",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("relative_humidity_percent__isnull", True),
                    models.Q(("relative_humidity_percent__gt", 0), ("relative_humidity_percent__lte", 100)),
                    _connector="OR",
                ),
                name="treatment_humidity_percent",
            ),
        ),
        migrations.AddConstraint(
            model_name="placeofuse",
            constraint=models.CheckConstraint(
                condition=models.Q(("corrosivity__in", ["C1", "C2", "C3", "C4", "C5", "CX", ""])),
                name="place_of_use_corrosivity_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="ownership",
            constraint=models.UniqueConstraint(
                condition=models.Q(("until_day__isnull", True)), fields=("vehicle",), name="one_owner_at_a_time"
            ),
        ),
        migrations.AddConstraint(
            model_name="ownership",
            constraint=models.UniqueConstraint(fields=("vehicle", "from_day"), name="one_change_of_owner_a_day"),
        ),
        migrations.AddConstraint(
            model_name="ownership",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("until_day__isnull", True), ("until_day__gt", models.F("from_day")), _connector="OR"
                ),
                name="ownership_ends_after_it_starts",
            ),
        ),
        migrations.AddConstraint(
            model_name="odometerreading",
            constraint=models.CheckConstraint(
                condition=models.Q(("unit__in", ["km", "mi"])), name="reading_unit_known"
            ),
        ),
        migrations.AddConstraint(
            model_name="odometerreading",
            constraint=models.CheckConstraint(condition=models.Q(("amount__gte", 0)), name="reading_not_negative"),
        ),
        migrations.AddConstraint(
            model_name="odometerreading",
            constraint=models.UniqueConstraint(
                condition=models.Q(("withdrawn_at__isnull", True)),
                fields=("vehicle", "day", "kilometres"),
                name="reading_once_a_day",
            ),
        ),
        migrations.AddIndex(
            model_name="materialuse",
            index=models.Index(
                fields=["lot", "done_on", "treatment", "vehicle", "quantity_ml", "zones"], name="use_of_lot_by_day"
            ),
        ),
        migrations.AddIndex(
            model_name="materialuse",
            index=models.Index(fields=["product", "done_on", "treatment", "lot"], name="use_of_product_by_day"),
        ),
        migrations.AddConstraint(
            model_name="materialuse",
            constraint=models.UniqueConstraint(fields=("treatment", "product", "lot"), name="use_once"),
        ),
        migrations.AddConstraint(
            model_name="materialuse",
            constraint=models.UniqueConstraint(
                condition=models.Q(("lot__isnull", True)), fields=("treatment", "product"), name="use_once_without_lot"
            ),
        ),
        migrations.AddIndex(
            model_name="inspection",
            index=models.Index(fields=["vehicle", "done_on"], name="treatments__vehicle_de12a3_idx"),
        ),
        migrations.AddConstraint(
            model_name="inspection",
            constraint=models.CheckConstraint(
                condition=models.Q(("kind__in", ["intake", "reinspection", "claim"])), name="inspection_kind_known"
            ),
        ),
        migrations.AddConstraint(
            model_name="inspection",
            constraint=models.CheckConstraint(
                condition=models.Q(("odometer_unit__in", ["km", "mi", ""])), name="inspection_odometer_unit_known"
            ),
        ),
        migrations.AddConstraint(
            model_name="inspection",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(
                        ("odometer_amount__isnull", True), ("odometer_unit", ""), ("signed_off_at__isnull", False)
                    ),
                    models.Q(
                        ("odometer_amount__isnull", True),
                        ("odometer_unit", ""),
                        ("reading__isnull", True),
                        ("signed_off_at__isnull", True),
                    ),
                    models.Q(
                        ("odometer_amount__gte", 0),
                        ("reading__isnull", True),
                        ("signed_off_at__isnull", True),
                        models.Q(("odometer_unit", ""), _negated=True),
                    ),
                    _connector="OR",
                ),
                name="inspection_reading_once_signed",
            ),
        ),
        migrations.AddConstraint(
            model_name="inspection",
            constraint=models.CheckConstraint(
                condition=models.Q(("amends__isnull", True), ("signed_off_at__isnull", False), _connector="OR"),
                name="inspection_amendment_signed",
            ),
        ),
        migrations.AddConstraint(
            model_name="inspection",
            constraint=models.UniqueConstraint(
                condition=models.Q(("amends__isnull", True)),
                fields=("vehicle", "done_on", "kind"),
                name="one_inspection_of_a_kind_a_day",
            ),
        ),
        migrations.AddConstraint(
            model_name="inspection",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("amends__isnull", True), models.Q(("amendment_reason", ""), _negated=True), _connector="OR"
                ),
                name="inspection_amendment_says_why",
            ),
        ),
        migrations.AddConstraint(
            model_name="vehiclechange",
            constraint=models.CheckConstraint(
                condition=models.Q(("kind__in", ["owner_changed", "sold", "place_of_use_changed", "corrected"])),
                name="vehicle_change_kind_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="vehiclechange",
            constraint=models.CheckConstraint(
                condition=models.Q(("reason", ""), _negated=True), name="vehicle_change_says_why"
            ),
        ),
        migrations.AddIndex(
            model_name="vehiclefact",
            index=models.Index(fields=["vehicle", "day"], name="treatments__vehicle_a60ca9_idx"),
        ),
        migrations.AddConstraint(
            model_name="vehiclefact",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    (
                        "kind__in",
                        [
                            "propulsion",
                            "fitted_part",
                            "zone_absent",
                            "zone_forbidden",
                            "makers_instruction",
                            "withdrawn",
                        ],
                    )
                ),
                name="fact_kind_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="vehiclefact",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("propulsion__in", ["combustion", "hybrid", "battery", "lpg_or_cng", "hydrogen", "unknown", ""])
                ),
                name="fact_propulsion_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="vehiclefact",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    (
                        "source__in",
                        [
                            "seen_on_vehicle",
                            "vehicle_maker",
                            "registration_document",
                            "licensed_specialist",
                            "owner_said",
                            "shop_log",
                        ],
                    )
                ),
                name="fact_source_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="vehiclefact",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(
                        ("kind", treatments.enums.FactKind["PROPULSION"]),
                        models.Q(("propulsion", ""), _negated=True),
                    ),
                    models.Q(
                        models.Q(("kind", treatments.enums.FactKind["PROPULSION"]), _negated=True),
                        ("propulsion", ""),
                    ),
                    _connector="OR",
                ),
                name="propulsion_is_named",
            ),
        ),
        migrations.AddConstraint(
            model_name="vehiclefact",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("zone__isnull", False),
                    models.Q(
                        (
                            "kind__in",
                            [
                                treatments.enums.FactKind["ZONE_ABSENT"],
                                treatments.enums.FactKind["ZONE_FORBIDDEN"],
                            ],
                        ),
                        _negated=True,
                    ),
                    _connector="OR",
                ),
                name="fact_about_a_zone_names_it",
            ),
        ),
        migrations.AddConstraint(
            model_name="vehiclefact",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("kind", treatments.enums.FactKind["WITHDRAWN"]), ("withdraws__isnull", False)),
                    models.Q(
                        models.Q(("kind", treatments.enums.FactKind["WITHDRAWN"]), _negated=True),
                        ("withdraws__isnull", True),
                    ),
                    _connector="OR",
                ),
                name="withdrawal_names_its_fact",
            ),
        ),
        migrations.AddConstraint(
            model_name="treatmentline",
            constraint=models.CheckConstraint(
                condition=models.Q(("quantity_unit__in", ["us_quart", "litre", "us_gallon", "millilitre", ""])),
                name="line_unit_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="treatmentline",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("not_done_reason", ""), ("product__isnull", False), ("quantity_ml__gt", 0)),
                    models.Q(
                        ("lot__isnull", True),
                        ("product__isnull", True),
                        ("quantity_ml__isnull", True),
                        models.Q(("not_done_reason", ""), _negated=True),
                    ),
                    _connector="OR",
                ),
                name="line_applied_or_says_why_not",
            ),
        ),
        migrations.AddConstraint(
            model_name="treatmentline",
            constraint=models.UniqueConstraint(fields=("treatment", "zone", "product", "lot"), name="line_once"),
        ),
        migrations.AddConstraint(
            model_name="treatmentline",
            constraint=models.UniqueConstraint(
                condition=models.Q(("lot__isnull", True), ("product__isnull", False)),
                fields=("treatment", "zone", "product"),
                name="line_once_without_lot",
            ),
        ),
        migrations.AddConstraint(
            model_name="treatmentline",
            constraint=models.UniqueConstraint(
                condition=models.Q(("product__isnull", True)), fields=("treatment", "zone"), name="zone_not_done_once"
            ),
        ),
        migrations.AddConstraint(
            model_name="keptphoto",
            constraint=models.UniqueConstraint(
                fields=("form_key", "zone", "sha256"), name="kept_photo_once_per_form_and_zone"
            ),
        ),
        migrations.AddConstraint(
            model_name="inspectionline",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("not_seen_reason", ""),
                    models.Q(("film_state", "not_seen"), ("perforated", False), ("rusted_area_percent__isnull", True)),
                    _connector="OR",
                ),
                name="zone_seen_or_says_why_not",
            ),
        ),
        migrations.AddConstraint(
            model_name="inspectionline",
            constraint=models.CheckConstraint(
                condition=models.Q(("film_state__in", ["intact", "thin", "missing", "not_seen"])),
                name="inspection_film_state_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="inspectionline",
            constraint=models.UniqueConstraint(fields=("inspection", "zone"), name="zone_inspected_once"),
        ),
        migrations.AddConstraint(
            model_name="inspectionline",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("rusted_area_percent__isnull", True),
                    models.Q(("rusted_area_percent__gte", 0), ("rusted_area_percent__lte", 100)),
                    _connector="OR",
                ),
                name="rusted_area_percent_in_range",
            ),
        ),
        migrations.AddConstraint(
            model_name="zonearea",
            constraint=models.CheckConstraint(
                condition=models.Q(("body_style__in", ["car", "hatchback", "suv_or_wagon", "pickup", "van"])),
                name="zone_area_body_style_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="zonearea",
            constraint=models.UniqueConstraint(fields=("zone", "body_style"), name="one_area_per_zone_and_style"),
        ),
        migrations.AddConstraint(
            model_name="zonearea",
            constraint=models.CheckConstraint(condition=models.Q(("area_m2__gt", 0)), name="zone_area_positive"),
        ),
    ]
