"""The address that a monitor asks: 200 where all is well, 503 where something needs a person."""

from dataclasses import asdict

from django.http import HttpRequest, JsonResponse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from desk.operating.health import read_health


@never_cache
@require_safe
def health(request: HttpRequest) -> JsonResponse:
    found = read_health(timezone.now())
    return JsonResponse({"well": found.is_well, **asdict(found)}, status=200 if found.is_well else 503)
