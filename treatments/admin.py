"""The admin for what has no page of its own yet: sites, people, products, lots, zones. Records are not edited here."""

from typing import Any

from django.contrib import admin
from django.contrib.auth.admin import UserAdmin
from django.db import models, transaction
from django.forms import ModelForm, model_to_dict
from django.http import HttpRequest
from django.utils import timezone

from treatments.event_log import Happening, record_events
from treatments.event_log.access import read_access, record_access, record_removal
from treatments.models import Customer, Dealership, Lot, Product, Site, User, Zone, ZoneArea


class RecordedAdmin(admin.ModelAdmin):
    """An admin whose changes stand in the event log, since due dates and claims may rest on them."""

    event_kind = ""
    # What names a person stays out of the log, which can't be changed; that it was changed is told.
    personal: tuple[str, ...] = ()

    def save_model(self, request: HttpRequest, obj: models.Model, form: ModelForm, change: bool) -> None:
        with transaction.atomic():
            stored = self.model._default_manager.filter(pk=obj.pk).first() if change else None
            super().save_model(request, obj, form, change)
            self._record(request, obj, model_to_dict(stored) if stored else None, model_to_dict(obj))

    def delete_model(self, request: HttpRequest, obj: models.Model) -> None:
        with transaction.atomic():
            before, key = model_to_dict(obj), obj.pk
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
        actor = request.user if isinstance(request.user, User) else None
        record_events([happening], actor=actor, now=timezone.now())

    def _leave_out(self, values: dict[str, Any] | None) -> dict[str, Any] | None:
        return None if values is None else {k: v for k, v in values.items() if k not in self.personal}


class ZoneAreaInline(admin.TabularInline):
    model = ZoneArea
    extra = 0


@admin.register(Zone)
class ZoneAdmin(RecordedAdmin):
    event_kind = "zone.changed"
    list_display = ["code", "name", "kind", "stage", "sequence"]
    list_filter = ["kind", "stage"]
    search_fields = ["code", "name"]
    inlines = [ZoneAreaInline]


@admin.register(User)
class PersonAdmin(UserAdmin):
    list_display = ["username", "first_name", "last_name", "role", "site", "dealership"]
    list_filter = ["role", "is_active"]
    fieldsets = [*(UserAdmin.fieldsets or ()), ("At the shop", {"fields": ["role", "site", "dealership"]})]
    add_fieldsets = [*UserAdmin.add_fieldsets, ("At the shop", {"fields": ["role", "site", "dealership"]})]

    def save_model(self, request: HttpRequest, obj: User, form: ModelForm, change: bool) -> None:
        with transaction.atomic():
            before = read_access(obj)
            super().save_model(request, obj, form, change)
            actor = request.user if isinstance(request.user, User) else None
            record_access(person=obj, before=before, now=timezone.now(), actor=actor)

    def delete_model(self, request: HttpRequest, obj: User) -> None:
        with transaction.atomic():
            actor = request.user if isinstance(request.user, User) else None
            record_removal(person=obj, now=timezone.now(), actor=actor)
            super().delete_model(request, obj)

    def delete_queryset(self, request: HttpRequest, queryset: models.QuerySet[User]) -> None:
        for person in queryset:
            self.delete_model(request, person)


@admin.register(Product)
class ProductAdmin(RecordedAdmin):
    event_kind = "product.changed"
    list_display = ["name", "maker", "family", "volume_solids_percent", "target_dry_film_um"]
    search_fields = ["name"]


@admin.register(Lot)
class LotAdmin(RecordedAdmin):
    event_kind = "lot.changed"
    list_display = ["product", "number", "received_on", "expires_on", "recalled_on"]
    list_filter = ["product"]
    search_fields = ["number"]


@admin.register(Customer)
class CustomerAdmin(RecordedAdmin):
    event_kind = "customer.changed"
    personal = ("name", "contact", "email", "phone", "address")
    list_display = ["name", "contact", "language", "messages_stopped_at"]
    search_fields = ["name", "contact"]
    readonly_fields = ["created_at"]

    def has_add_permission(self, request: object) -> bool:
        return False


@admin.register(Site)
class SiteAdmin(RecordedAdmin):
    event_kind = "site.changed"
    list_display = ["code", "name", "time_zone", "corrosivity"]


@admin.register(Dealership)
class DealershipAdmin(RecordedAdmin):
    event_kind = "dealership.changed"
    list_display = ["code", "name", "email"]
