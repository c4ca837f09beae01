"""What lists can be narrowed to. A parameter that doesn't exist is an error, since a typo would show too much."""

from typing import Any

import django_filters
from django.db.models import Q, QuerySet
from django.utils import timezone
from django_filters.rest_framework import DjangoFilterBackend
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request
from rest_framework.views import APIView

from scheduling.covers.rules.due import DueKind
from scheduling.covers.rules.ends import CoverStatus
from scheduling.models import Cover, DueItem
from treatments.models import Vehicle
from treatments.queries import map_todays

ALWAYS_ALLOWED = ("cursor", "page_size")
# Django would take 01/02/2026 too, which means two days.
ISO_ONLY: dict[str, Any] = {
    "input_formats": ["%Y-%m-%d"],
    "error_messages": {"invalid": "Not a date: write it as YYYY-MM-DD."},
}


class StrictFilterBackend(DjangoFilterBackend):
    """django-filter, but an unknown parameter is a 400 that names the known ones."""

    def filter_queryset(self, request: Request, queryset: QuerySet[Any], view: APIView) -> QuerySet[Any]:
        filterset_class = getattr(view, "filterset_class", None)
        known = [*(filterset_class.base_filters if filterset_class else ()), *ALWAYS_ALLOWED]
        refuse_unknown(request, known)
        found: QuerySet[Any] = super().filter_queryset(request, queryset, view)
        return found


def refuse_unknown(request: Request, known: list[str]) -> None:
    """Refuse parameters that don't exist.

    Raises:
        ValidationError: naming each and the known ones.
    """
    unknown = [name for name in request.query_params if name not in known]
    if unknown:
        raise ValidationError({name: [f"No such parameter; there are: {', '.join(known)}."] for name in unknown})
    for name, value in request.query_params.items():
        if "\x00" in value:
            raise ValidationError({name: ["Holds a NUL character; remove it."]})


class VehicleFilter(django_filters.FilterSet):
    vin = django_filters.CharFilter(lookup_expr="icontains", help_text="any part of the VIN")
    plate = django_filters.CharFilter(lookup_expr="icontains")

    class Meta:
        model = Vehicle
        fields: list[str] = []


class CoverFilter(django_filters.FilterSet):
    status = django_filters.ChoiceFilter(
        field_name="last_state__status", choices=[(status.value, status.value) for status in CoverStatus]
    )
    site = django_filters.CharFilter(field_name="site__code")
    dealership = django_filters.CharFilter(field_name="dealership__code")
    vin = django_filters.CharFilter(field_name="vehicle__vin", lookup_expr="icontains")

    class Meta:
        model = Cover
        fields: list[str] = []


class DueItemFilter(django_filters.FilterSet):
    kind = django_filters.ChoiceFilter(choices=[(kind.value, kind.value) for kind in DueKind])
    site = django_filters.CharFilter(field_name="cover__site__code")
    vin = django_filters.CharFilter(field_name="cover__vehicle__vin", lookup_expr="icontains")
    target_from = django_filters.DateFilter(field_name="target_on", lookup_expr="gte", **ISO_ONLY)
    target_until = django_filters.DateFilter(field_name="target_on", lookup_expr="lte", **ISO_ONLY)
    overdue = django_filters.ChoiceFilter(
        choices=[("true", "true"), ("false", "false")],
        method="filter_overdue",
        help_text="whether today at the site is after grace_until",
    )

    class Meta:
        model = DueItem
        fields: list[str] = []

    def filter_overdue(self, items: QuerySet[DueItem], name: str, wanted: str) -> QuerySet[DueItem]:
        late = Q(pk__in=[])
        for site, today in map_todays(timezone.now()).items():
            late |= Q(cover__site=site, grace_until__lt=today)
        return items.filter(late if wanted == "true" else ~late)
