"""The shop above a customer's page: which one it is, and its logo."""

from django.http import Http404, HttpRequest, HttpResponse
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_safe

from notifications.mail.letterhead import read_letterhead
from treatments.models import Site

PNG = b"\x89PNG"


def show_shop(request: HttpRequest, site: Site | None) -> None:
    """Let the pages that answer a request show a site's letterhead; none where nobody knows which it is."""
    request.shop = read_letterhead(site) if site is not None else None  # type: ignore[attr-defined]


@require_safe
@cache_control(max_age=3600, public=True)
def shop_logo(request: HttpRequest, site: str) -> HttpResponse:
    """Hand out the logo of a site, which everybody may see."""
    found = Site.objects.filter(code=site).first()
    logo = read_letterhead(found).logo if found else b""
    if not logo:
        raise Http404(f"Site {site} has no logo here.")
    return HttpResponse(logo, content_type="image/png" if logo.startswith(PNG) else "image/jpeg")
