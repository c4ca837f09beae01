"""Reading warranty terms: the versions with the covers under each, one version in plain words, and its file.

What changes terms is in terms_draft.py.
"""

from itertools import groupby

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from desk.shared.access import access_version, get_user, list_versions_for, may_open, open_to
from scheduling.terms.queries import describe_versions, list_around, read_version_terms
from scheduling.terms.rules.terms_document import write_terms, write_toml
from scheduling.terms.rules.terms_in_words import explain_terms
from treatments.queries import find_clock
from treatments.reference.queries import find_site_of, map_zone_names


@open_to("terms")
@require_safe
def terms(request: HttpRequest) -> HttpResponse:
    """List the terms, each with its versions."""
    user = get_user(request)
    described = describe_versions(list_versions_for(user))
    groups = [(code, list(versions)) for code, versions in groupby(described, lambda listed: listed.version.terms.code)]
    context = {
        "groups": groups,
        "may_edit": may_open(user, "edit_terms"),
        "clock": find_clock(find_site_of(user)),
    }
    return render(request, "terms/terms.html", context)


@open_to("terms")
@require_safe
def version(request: HttpRequest, code: str, version: int) -> HttpResponse:
    """Show one version in plain words, with what differs from the published version before it."""
    user = get_user(request)
    around = describe_versions(list_around(list_versions_for(user), code, version))
    described = next((one for one in around if one.version.version == version), None)
    if described is None:
        raise Http404(f"No version {version} of terms {code} here.")
    found = described.version
    published = [one.version for one in around if one.version.published_at is not None]
    earlier = next((one for one in published if one.version < version), None)
    parts = explain_terms(read_version_terms(found))
    said_before = (
        [line.explanation for part in explain_terms(read_version_terms(earlier)) for line in part.lines]
        if earlier
        else None
    )
    context = {
        "version": found,
        "clock": find_clock(find_site_of(user)),
        "title": found.document["title"],
        "parts": parts,
        "earlier": earlier,
        "new_lines": [
            line.path
            for part in parts
            for line in part.lines
            if said_before is not None and line.explanation not in said_before
        ],
        "zone_names": map_zone_names(),
        "described": described,
        "may_edit": may_open(user, "edit_terms"),
        "draft": next((one.version for one in around if one.version.published_at is None), None),
    }
    return render(request, "terms/version.html", context)


@open_to("terms")
@require_safe
def file(request: HttpRequest, code: str, version: int) -> HttpResponse:
    """Return one version as a TOML file, which can be changed and uploaded again."""
    found = access_version(get_user(request), code, version)
    text = write_toml(write_terms(read_version_terms(found)))
    answer = HttpResponse(text, content_type="application/toml; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="{code}-{version}.toml"'
    return answer
