"""The admin for what has no page of its own yet: sites, people, products, lots, zones. Records are not edited here."""

from typing import Any

from django.contrib import admin
from django.contrib.auth.admin import UserAdmin
from django.db import models, transaction
from django.forms import ModelForm, model_to_dict
from django.http import HttpRequest
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from treatments.event_log import Happening, record_events
from treatments.models import Customer, Dealership, Lot, Product, Site, User, Zone, ZoneArea


def _get_actor(request: HttpRequest) -> User | None:
    return request.user if isinstance(request.user, User) else None


def _list_values(obj: models.Model) -> dict[str, Any]:
    """Return the values of a row as an event holds them; of a file its name."""
    return {
        name: value.name if isinstance(value, models.fields.files.FieldFile) else value
        for name, value in model_to_dict(obj).items()
    }


class RecordedAdmin(admin.ModelAdmin):
    """An admin whose changes stand in the event log, since due dates and claims may rest on them."""

    event_kind = ""
    # What names a person stays out of the log, which can't be changed; that it was changed is told.
    personal: tuple[str, ...] = ()
    # What answers about days gone by rest on: fixed as soon as the row is used, so that no edit rewrites the past.
    facts: tuple[str, ...] = ()
    # All other fields: words, and what decides about days to come only.
    free: tuple[str, ...] = ()
    # What somebody does instead of changing a fact.
    way_out: str | Promise = ""

    def is_used(self, obj: models.Model) -> bool:
        """Say whether a record that is not kept in these pages names the row."""
        return any(
            related.related_model._default_manager.filter(**{related.field.name: obj.pk}).exists()
            # Hidden ones too: most records don't say how they are reached from here.
            for related in self.model._meta.get_fields(include_hidden=True)
            if isinstance(related, models.ManyToOneRel)
            and related.on_delete is models.PROTECT
            and related.related_model not in self.admin_site._registry
        )

    def is_fixed(self, obj: models.Model | None) -> bool:
        return bool(self.facts) and obj is not None and self.is_used(obj)

    def get_readonly_fields(self, request: HttpRequest, obj: models.Model | None = None) -> Any:
        fixed = self.facts if self.is_fixed(obj) else ()
        return (*super().get_readonly_fields(request, obj), *fixed)

    def get_fieldsets(self, request: HttpRequest, obj: models.Model | None = None) -> Any:
        if not self.is_fixed(obj):
            return super().get_fieldsets(request, obj)
        others = [name for name in self.get_fields(request, obj) if name not in self.facts]
        fixed = {"fields": list(self.facts), "description": self.way_out}
        return [(None, {"fields": others}), (_("Fixed, since records rest on it"), fixed)]

    def has_delete_permission(self, request: HttpRequest, obj: models.Model | None = None) -> bool:
        return super().has_delete_permission(request, obj) and not self.is_fixed(obj)

    def save_model(self, request: HttpRequest, obj: models.Model, form: ModelForm, change: bool) -> None:
        with transaction.atomic():
            stored = self.model._default_manager.filter(pk=obj.pk).first() if change else None
            super().save_model(request, obj, form, change)
            self._record(request, obj, _list_values(stored) if stored else None, _list_values(obj))

    def delete_model(self, request: HttpRequest, obj: models.Model) -> None:
        with transaction.atomic():
            before, key = _list_values(obj), obj.pk
            super().delete_model(request, obj)
            obj.pk = key
            self._record(request, obj, before, None)

    def delete_queryset(self, request: HttpRequest, queryset: models.QuerySet[Any]) -> None:
        for obj in queryset:
            self.delete_model(request, obj)

    def _record(
        self, request: HttpRequest, obj: models.Model, before: dict[str, Any] | None, after: dict[str, Any] | None
    ) -> None:
        changed = sorted(name for name in self.personal if (before or {}).get(name) != (after or {}).get(name))
        before, after = self._leave_out(before), self._leave_out(after)
        if after is not None and changed:
            after["changed"] = changed
        subject = self.event_kind.partition(".")[0]
        happening = Happening(self.event_kind, subject, str(obj.pk), before=before, after=after)
        record_events([happening], actor=_get_actor(request), now=timezone.now())

    def _leave_out(self, values: dict[str, Any] | None) -> dict[str, Any] | None:
        return None if values is None else {k: v for k, v in values.items() if k not in self.personal}


class ZoneAreaInline(admin.TabularInline):
    """The areas of a zone; what is known of one stays as it is once the zone was worked on."""

    model = ZoneArea
    extra = 0

    def has_change_permission(self, request: HttpRequest, obj: models.Model | None = None) -> bool:
        return super().has_change_permission(request, obj) and not self._is_fixed(obj)

    def has_delete_permission(self, request: HttpRequest, obj: models.Model | None = None) -> bool:
        return super().has_delete_permission(request, obj) and not self._is_fixed(obj)

    def _is_fixed(self, obj: models.Model | None) -> bool:
        zones = self.admin_site._registry[Zone]
        return isinstance(zones, RecordedAdmin) and zones.is_fixed(obj)


@admin.register(Zone)
class ZoneAdmin(RecordedAdmin):
    event_kind = "zone.changed"
    list_display = ["code", "name", "kind", "stage", "sequence"]
    list_filter = ["kind", "stage"]
    search_fields = ["code", "name"]
    inlines = [ZoneAreaInline]
    facts = ("code", "kind", "plastic")
    # On which vehicles a zone is not coated stays free: nobody may be kept from forbidding a place that is dangerous.
    free = (
        "name", "aliases", "stage", "height", "sequence", "suited_families", "access_points", "cautions", "tools",
        "door_approaches", "to_guard", "propulsions", "withheld_on", "has_own_source",
    )  # fmt: skip
    readonly_fields = ["added_at"]
    way_out = _("For another kind of place, add a zone with another code.")

    def save_model(self, request: HttpRequest, obj: models.Model, form: ModelForm, change: bool) -> None:
        if isinstance(obj, Zone) and not change:
            # As with a zone that a later catalogue brings: what was treated before could not name it.
            obj.added_at = timezone.now()
        super().save_model(request, obj, form, change)


@admin.register(User)
class PersonAdmin(UserAdmin):
    list_display = ["username", "first_name", "last_name", "role", "site", "dealership"]
    list_filter = ["role", "is_active"]
    fieldsets = [*(UserAdmin.fieldsets or ()), ("At the shop", {"fields": ["role", "site", "dealership"]})]
    add_fieldsets = [*UserAdmin.add_fieldsets, ("At the shop", {"fields": ["role", "site", "dealership"]})]

    def get_object(self, request: HttpRequest, object_id: str, from_field: str | None = None) -> User | None:
        # For every page of one person: that of the password saves by itself.
        person = super().get_object(request, object_id, from_field)
        if person is not None:
            person.changed_by = _get_actor(request)
        return person

    def save_model(self, request: HttpRequest, obj: User, form: ModelForm, change: bool) -> None:
        obj.changed_by = _get_actor(request)
        super().save_model(request, obj, form, change)

    def delete_queryset(self, request: HttpRequest, queryset: models.QuerySet[User]) -> None:
        for person in queryset:
            person.changed_by = _get_actor(request)
            person.delete()


@admin.register(Product)
class ProductAdmin(RecordedAdmin):
    event_kind = "product.changed"
    list_display = ["name", "maker", "family", "volume_solids_percent", "target_dry_film_um"]
    search_fields = ["name"]
    facts = (
        "family", "volume_solids_percent", "target_dry_film_um", "loss_fraction", "water_displacing",
        "surface_min_c", "surface_max_c",
    )  # fmt: skip
    free = ("name", "maker", "aliases", "gun_pressure_kpa", "gun_nozzle_mm", "shelf_life_months")
    way_out = _("Where the data sheet says something else from now on, add the product anew under a name of its own.")


@admin.register(Lot)
class LotAdmin(RecordedAdmin):
    event_kind = "lot.changed"
    list_display = ["product", "number", "received_on", "expires_on", "recalled_on"]
    list_filter = ["product"]
    search_fields = ["number"]
    facts = ("product", "number", "expires_on", "recalled_on", "recall_reason")
    free = ("received_on", "quantity_received_ml")
    way_out = _("A recall is written down with its day on the page of the stock.")


@admin.register(Customer)
class CustomerAdmin(RecordedAdmin):
    event_kind = "customer.changed"
    personal = ("name", "contact", "email", "phone", "address")
    list_display = ["name", "contact", "language", "messages_stopped_at"]
    search_fields = ["name", "contact"]
    # Whether somebody stopped messages is written with who said so and how, on the page of a vehicle.
    readonly_fields = ["created_at", "messages_stopped_at"]
    free = ("name", "contact", "email", "phone", "address", "language")

    def has_add_permission(self, request: object) -> bool:
        return False


@admin.register(Site)
class SiteAdmin(RecordedAdmin):
    event_kind = "site.changed"
    list_display = ["code", "name", "time_zone", "corrosivity"]
    facts = ("country", "subdivision", "time_zone", "currency", "corrosivity")
    free = ("code", "name", "address", "postal_code", "email", "phone", "paper", "colour", "logo")
    way_out = _(
        "Write down with their day where vehicles are used, and on which days the site is closed. "
        "For another place of work, add a site."
    )


@admin.register(Dealership)
class DealershipAdmin(RecordedAdmin):
    event_kind = "dealership.changed"
    list_display = ["code", "name", "email"]
    free = ("code", "name", "email", "phone")
