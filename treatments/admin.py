"""The admin for what has no page of its own yet: sites, people, products, lots, zones. Records are not edited here."""

from django.contrib import admin
from django.contrib.auth.admin import UserAdmin

from treatments.models import Customer, Dealership, Lot, Product, Site, User, Zone, ZoneArea


class ZoneAreaInline(admin.TabularInline):
    model = ZoneArea
    extra = 0


@admin.register(Zone)
class ZoneAdmin(admin.ModelAdmin):
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


@admin.register(Product)
class ProductAdmin(admin.ModelAdmin):
    list_display = ["name", "maker", "family", "volume_solids_percent", "target_dry_film_um"]
    search_fields = ["name"]


@admin.register(Lot)
class LotAdmin(admin.ModelAdmin):
    list_display = ["product", "number", "received_on", "expires_on", "recalled_on"]
    list_filter = ["product"]
    search_fields = ["number"]


@admin.register(Customer)
class CustomerAdmin(admin.ModelAdmin):
    list_display = ["name", "contact", "language", "messages_stopped_at"]
    search_fields = ["name", "contact"]
    readonly_fields = ["created_at"]

    def has_add_permission(self, request: object) -> bool:
        return False


admin.site.register([Site, Dealership])
