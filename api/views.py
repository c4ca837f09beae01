"""Read-only endpoints: each asks one query and shows the answer."""

from datetime import date
from typing import Any

from django.db.models import QuerySet
from django.http import Http404
from django.shortcuts import get_object_or_404
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema, extend_schema_view
from rest_framework.decorators import action, api_view
from rest_framework.exceptions import ValidationError
from rest_framework.mixins import ListModelMixin
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import GenericViewSet, ReadOnlyModelViewSet

from api.access import MayReadClaims, MayReadCovers, get_user
from api.filters import CoverFilter, DueItemFilter, StrictFilterBackend, VehicleFilter, refuse_unknown
from api.serializers import (
    ClaimCheckSerializer,
    ClaimSerializer,
    CoverOnDaySerializer,
    CoverSerializer,
    DueItemSerializer,
    HistorySerializer,
    ProblemSerializer,
    VehicleSerializer,
)
from claims.models import Claim
from claims.queries import list_claims_for, read_claim_check
from claims.visibility import may_see_findings
from scheduling.covers.queries import list_covers_for, read_cover_case
from scheduling.models import Cover, DueItem
from treatments.models import Inspection, Treatment, Vehicle
from treatments.queries import find_end_of_day_at, find_today
from treatments.reference.queries import map_zone_names

PROBLEMS = {
    code: OpenApiResponse(ProblemSerializer, description=words)
    for code, words in (
        ((400, "application/problem+json"), "A parameter that can't be used."),
        ((401, "application/problem+json"), "No or a wrong token."),
        ((403, "application/problem+json"), "Not for the caller's role."),
        ((404, "application/problem+json"), "Not there, or not the caller's to see."),
        ((406, "application/problem+json"), "Only JSON is served."),
    )
}
AS_OF = OpenApiParameter("as_of", OpenApiTypes.DATE, description="the day asked about; today at the site if left out")
KNOWN_AT = OpenApiParameter(
    "known_at",
    OpenApiTypes.DATE,
    description="leave out what was written down after this day, by the clock of the site",
)


# No vehicle's record lies outside, and dates further out can't be counted on from.
FIRST_DAY, LAST_DAY = date(1900, 1, 1), date(2199, 12, 31)


def read_date(request: Request, name: str) -> date | None:
    """Return a date parameter, None where it was not given.

    Raises:
        ValidationError: naming the parameter and the value.
    """
    text = request.query_params.get(name)
    if text is None:
        return None
    try:
        day = date.fromisoformat(text)
    except ValueError:
        raise ValidationError({name: [f"'{text}' is not a date: write it as YYYY-MM-DD."]}) from None
    if not FIRST_DAY <= day <= LAST_DAY:
        raise ValidationError({name: [f"{text} is out of reach: write a day from {FIRST_DAY} to {LAST_DAY}."]})
    return day


@extend_schema_view(
    list=extend_schema(summary="Vehicles", responses={200: VehicleSerializer(many=True), **PROBLEMS}),
    retrieve=extend_schema(summary="One vehicle by its VIN", responses={200: VehicleSerializer, **PROBLEMS}),
)
class VehicleViewSet(ReadOnlyModelViewSet[Vehicle]):
    queryset = Vehicle.objects.none()
    serializer_class = VehicleSerializer
    filter_backends = [StrictFilterBackend]
    filterset_class = VehicleFilter
    lookup_field = "vin"
    lookup_value_regex = "[A-Za-z0-9]+"

    def get_queryset(self) -> QuerySet[Vehicle]:
        user = get_user(self.request)
        if user.is_dealership:
            return Vehicle.objects.filter(covers__in=list_covers_for(user)).distinct()
        return Vehicle.objects.all()

    @extend_schema(
        summary="Everything on record about a vehicle",
        filters=False,
        responses={200: HistorySerializer, **PROBLEMS},
    )
    @action(detail=True, pagination_class=None)
    def history(self, request: Request, vin: str) -> Response:
        refuse_unknown(request, [])
        vehicle = get_object_or_404(self.get_queryset(), vin=vin)
        content: dict[str, Any] = {
            "vehicle": vehicle,
            "treatments": Treatment.objects.filter(vehicle=vehicle, signed_off_at__isnull=False)
            .select_related("amended_by")
            .prefetch_related("lines__zone", "lines__product", "lines__lot", "totals__product", "totals__lot"),
            "inspections": Inspection.objects.filter(vehicle=vehicle, signed_off_at__isnull=False)
            .select_related("amended_by")
            .prefetch_related("lines__zone"),
            "readings": vehicle.readings.filter(withdrawn_at__isnull=True),
        }
        return Response(HistorySerializer(content).data)


@extend_schema_view(
    list=extend_schema(summary="Covers", responses={200: CoverSerializer(many=True), **PROBLEMS}),
)
class CoverViewSet(ReadOnlyModelViewSet[Cover]):
    queryset = Cover.objects.none()
    serializer_class = CoverSerializer
    permission_classes = [*ReadOnlyModelViewSet.permission_classes, MayReadCovers]
    filter_backends = [StrictFilterBackend]
    filterset_class = CoverFilter
    lookup_field = "number"

    def get_queryset(self) -> QuerySet[Cover]:
        return (
            list_covers_for(get_user(self.request))
            .select_related("holder", "last_state")
            .prefetch_related("vehicle__ownerships")
        )

    @extend_schema(
        summary="One cover on a day, with its due items and why each date is what it is",
        parameters=[AS_OF, KNOWN_AT],
        filters=False,
        responses={200: CoverOnDaySerializer, **PROBLEMS},
    )
    def retrieve(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        refuse_unknown(request, ["as_of", "known_at"])
        cover = get_object_or_404(self.get_queryset(), number=kwargs["number"])
        now = timezone.now()
        day = read_date(request, "as_of") or find_today(now, cover.site)
        known_day = read_date(request, "known_at")
        known_at = find_end_of_day_at(known_day, cover.site) if known_day else None
        case = read_cover_case(cover, known_at=known_at)
        content = {
            "cover": cover,
            "state": case.read_state(day),
            "distance_ahead": case.foresee_distance(day),
            "due_items": case.read_due_items(day),
        }
        return Response(CoverOnDaySerializer(content, context=self.get_serializer_context()).data)


@extend_schema_view(
    list=extend_schema(
        summary="What is due, as last recomputed", responses={200: DueItemSerializer(many=True), **PROBLEMS}
    ),
)
class DueItemViewSet(ListModelMixin, GenericViewSet[DueItem]):
    queryset = DueItem.objects.none()
    serializer_class = DueItemSerializer
    permission_classes = [*GenericViewSet.permission_classes, MayReadCovers]
    filter_backends = [StrictFilterBackend]
    filterset_class = DueItemFilter

    def get_queryset(self) -> QuerySet[DueItem]:
        covers = list_covers_for(get_user(self.request))
        return DueItem.objects.filter(cover__in=covers).select_related("cover__vehicle")


@extend_schema_view(
    list=extend_schema(summary="Claims", responses={200: ClaimSerializer(many=True), **PROBLEMS}),
)
class ClaimViewSet(ReadOnlyModelViewSet[Claim]):
    queryset = Claim.objects.none()
    serializer_class = ClaimSerializer
    permission_classes = [*ReadOnlyModelViewSet.permission_classes, MayReadClaims]
    filter_backends = [StrictFilterBackend]
    lookup_field = "number"

    def get_queryset(self) -> QuerySet[Claim]:
        return list_claims_for(get_user(self.request))

    @extend_schema(
        summary="One claim with what every rule finds",
        filters=False,
        responses={200: ClaimCheckSerializer, **PROBLEMS},
    )
    def retrieve(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        refuse_unknown(request, [])
        claim = get_object_or_404(self.get_queryset(), number=kwargs["number"])
        # None where a dealership may not know yet.
        check = read_claim_check(claim) if may_see_findings(get_user(request), claim) else None
        content = {
            "claim": claim,
            "answer": check.answer if check else None,
            "findings": check.findings if check else [],
            "note": "The program advises; a person decides. Consumer law may give rights beyond the terms.",
        }
        context = {**self.get_serializer_context(), "zone_names": map_zone_names()}
        return Response(ClaimCheckSerializer(content, context=context).data)


@extend_schema(exclude=True)
@api_view()
def list_addresses(request: Request) -> Response:
    """Show where to go from the API's own address."""
    here = request.build_absolute_uri(request.path)
    names = ("vehicles", "covers", "due-items", "claims", "schema", "docs")
    return Response({name: f"{here}{name}/" for name in names})


@extend_schema(exclude=True)
@api_view(["GET", "HEAD", "POST", "PUT", "PATCH", "DELETE"])
def answer_nothing_here(request: Request, rest: str) -> Response:
    """Answer an address that does not exist as every other error is answered."""
    raise Http404
