"""Changing warranty terms: starting a draft, editing it as a form, seeing what it would do, publishing it.

Every change goes through the services, which refuse what somebody else changed since the page was opened.
"""

import tomllib
from typing import Any

from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.shortcuts import render as render_page
from django.utils import timezone
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from claims.reports.terms_preview import TermsPreview, preview_terms
from desk.forms.fields import read_whole
from desk.shared.access import access_draft, access_version, get_user, list_versions_for, open_to
from desk.shared.shown import list_changes, shown_for
from desk.shared.shown_records import of_terms, of_terms_version
from desk.terms.form import build_form, list_differences, render_in_form
from desk.terms.post import (
    count_claims,
    count_covers,
    drop_switched_off,
    list_languages_without_texts,
    name_chosen,
    read_form,
)
from notifications.languages import join_label
from scheduling.bays.queries import list_terms
from scheduling.models import TermsVersion, WarrantyTerms
from scheduling.terms.preview import choose_covers
from scheduling.terms.queries import (
    compute_fingerprint,
    find_draft,
    find_next_version,
    find_problems,
    read_version_terms,
)
from scheduling.terms.rules.terms_document import TermsError
from scheduling.terms.services import (
    DraftChangedError,
    discard_draft,
    publish_draft,
    save_draft,
    start_draft,
    start_next_version,
)
from treatments.models import Site, User
from treatments.queries import find_shop_day, read_zone_catalogue
from treatments.reference.queries import map_zone_names
from treatments.shared.rendering import render, render_param

MOST_FILE_BYTES = 100_000
# A page must answer in seconds; the command reads every cover, however many there are.
MOST_PREVIEWED = 300
COMPARED_AT_ONCE = 25
SHOWN = 25


@open_to("edit_terms")
@shown_for(of_terms)
def start(request: HttpRequest) -> HttpResponse:
    """Start a draft: as the next version of terms, as terms under a new code, or from a file."""
    user = get_user(request)
    context: dict[str, Any] = {"versions": list_versions_for(user), "errors": [], "typed": request.POST}
    if request.method != "POST":
        return render_page(request, "terms/start.html", context)
    try:
        draft = _start(request, user)
    except TermsError as error:
        context["errors"] = [
            join_label(f"{p.field} = {render_param(p.value)}", render(p.explanation)) for p in error.problems
        ]
    except ValidationError as error:
        context["errors"] = error.messages
    else:
        return redirect("desk:edit_terms", draft.terms.code, draft.version)
    return render_page(request, "terms/start.html", context, status=422)


def _start(request: HttpRequest, user: User) -> TermsVersion:
    now = timezone.now()
    if request.POST.get("how") == "file":
        document = read_upload(request)
        if isinstance(document.get("code"), str):
            document["version"] = find_next_version(document["code"])
        return start_draft(document=document, now=now, actor=user)
    wanted = read_whole(request.POST.get("from", ""), digits=17)
    chosen = next((version for version in list_versions_for(user) if version.pk == wanted), None)
    if chosen is None:
        raise ValidationError(_("Choose the version whose text is to be copied."))
    if request.POST.get("how") == "copy":
        code, title = request.POST.get("code", "").strip(), request.POST.get("title", "").strip()
        if WarrantyTerms.objects.filter(code=code).exists():
            message = _("There are terms under the code %(code)s already; write another, or start from those.")
            raise ValidationError(message % {"code": code})
        copied = chosen.document | {"code": code, "title": title, "version": 1}
        return start_draft(document=copied, now=now, actor=user)
    return find_draft(chosen.terms.code) or start_next_version(version=chosen, now=now, actor=user)


def read_upload(request: HttpRequest) -> dict[str, Any]:
    """Return the document of the uploaded file.

    Raises:
        ValidationError: without a file, or with one that is no TOML.
    """
    upload = request.FILES.get("file")
    if upload is None:
        raise ValidationError(_("Choose a file of terms."))
    if upload.size is None or upload.size > MOST_FILE_BYTES:
        message = _("%(name)s is larger than any terms; the most is %(most)s kB.")
        raise ValidationError(message % {"name": upload.name, "most": MOST_FILE_BYTES // 1000})
    try:
        return tomllib.loads(upload.read().decode("utf-8-sig"))
    except (UnicodeDecodeError, tomllib.TOMLDecodeError, RecursionError) as error:
        message = _("%(name)s is not a TOML file: %(error)s.")
        raise ValidationError(message % {"name": upload.name, "error": error}) from error


@open_to("edit_terms")
@shown_for(of_terms_version, in_view=True)
def edit(request: HttpRequest, code: str, version: int) -> HttpResponse:
    """Show the form of a draft and save it; then go on to the preview or to publishing, if asked for."""
    user = get_user(request)
    if request.method != "POST":
        draft = access_draft(user, code, version)
        return render_form(request, draft, draft.document, saved="saved" in request.GET)
    # Where somebody published it meanwhile, what was typed is still shown, so not only drafts are looked for.
    draft, typed = access_version(user, code, version), read_form(request.POST)
    opened_as = request.POST.get("opened_as", "")
    if changes := list_changes(request):
        return render_form(request, draft, typed, changed=" ".join(changes), status=409)
    try:
        save_draft(draft=draft, document=drop_switched_off(typed), opened_as=opened_as, now=timezone.now(), actor=user)
    except TermsError as error:
        return render_form(request, draft, typed, problems=error.problems, opened_as=opened_as, status=422)
    except DraftChangedError as error:
        return render_form(request, draft, typed, changed=" ".join(error.messages), status=409)
    page = {"preview": "desk:preview_terms", "publish": "desk:publish_terms"}.get(request.POST.get("do", ""))
    if page:
        return redirect(page, code, version)
    answer = redirect("desk:edit_terms", code, version)
    answer["Location"] += "?saved=1"
    return answer


def render_form(
    request: HttpRequest,
    draft: TermsVersion,
    typed: dict[str, Any],
    *,
    problems: Any = (),
    changed: str = "",
    saved: bool = False,
    opened_as: str = "",
    status: int = 200,
) -> HttpResponse:
    """Show the form with what was typed. After a refusal it holds the fingerprint of the text now on file.

    So that a person who has seen what the other one changed can save over it, knowing it.
    """
    form = build_form(typed, problems, read_zone_catalogue())
    context = {
        "draft": draft,
        "errors": form.errors,
        "form": form,
        "changed": changed,
        "differences": list_differences(draft.document, drop_switched_off(typed)) if changed else [],
        "saved": saved,
        "opened_as": opened_as or compute_fingerprint(draft.document),
    }
    return render_page(request, "terms/edit.html", context, status=status)


@open_to("edit_terms")
@require_safe
def preview(request: HttpRequest, code: str, version: int) -> HttpResponse:
    """Show what a version would do to the covers and claims on record; nothing is written."""
    chosen = access_version(get_user(request), code, version)
    errors = list_problems(chosen)
    context = {"version": chosen, "errors": errors, **({} if errors else read_preview(request, chosen))}
    return render_page(request, "terms/preview.html", context, status=422 if errors else 200)


def list_problems(chosen: TermsVersion) -> list[str]:
    """Return for what a draft can't be published any more; the shop may have changed since it was saved."""
    if chosen.published_at is not None:
        return []
    return [
        join_label(render_param(p.value), render_in_form(p.explanation))
        for p in find_problems(read_version_terms(chosen))
    ]


def read_preview(request: HttpRequest, chosen: TermsVersion) -> dict[str, Any]:
    """Return the preview for the page: over the covers under the same terms, other terms, or all."""
    terms = read_version_terms(chosen)
    others = list_terms()
    wanted = request.GET.get("covers", "")
    every = wanted == "*"
    instead_of = wanted if wanted in [code for code, _ in others] else ""
    covers = choose_covers(terms, instead_of=instead_of, every=every)
    known = {"wanted": "*" if every else instead_of or terms.code, "others": others, "shown": SHOWN}
    # A long comparison is asked for by the page itself, which meanwhile says so.
    if "compared" not in request.GET and covers.order_by()[: COMPARED_AT_ONCE + 1].count() > COMPARED_AT_ONCE:
        return known | {"asked": urlencode({"covers": wanted, "compared": "now"})}
    found: TermsPreview = preview_terms(
        terms,
        covers,
        as_of=find_shop_day(timezone.now()),
        keep=SHOWN,
        limit=MOST_PREVIEWED,
    )
    return known | {
        "preview": found,
        "zone_names": map_zone_names(),
        "not_compared": found.failed[:SHOWN],
        "cover_counts": count_covers(found.covers),
        "claim_counts": count_claims(found.claims),
        "chosen": name_chosen(terms, instead_of=instead_of, every=every),
    }


@open_to("edit_terms")
@shown_for(of_terms_version, again=False)
def publish(request: HttpRequest, code: str, version: int) -> HttpResponse:
    """Ask whether to publish a draft, with what it would do to covers, and publish it on POST."""
    user = get_user(request)
    draft = access_draft(user, code, version)
    problems = list_problems(draft)
    context: dict[str, Any] = {"version": draft, "opened_as": compute_fingerprint(draft.document), "errors": problems}
    sites = Site.objects.select_related("usual_terms__terms_version__terms")
    if request.method == "POST" and not problems:
        try:
            publish_draft(
                draft=draft,
                opened_as=request.POST.get("opened_as", ""),
                now=timezone.now(),
                actor=user,
                usual_at=sites.filter(code__in=request.POST.getlist("usual_at")),
            )
        except DraftChangedError as error:
            context["errors"] = error.messages
        else:
            return redirect("desk:terms_version", code, version)
    if not problems:
        lacking = list_languages_without_texts(read_version_terms(draft))
        context |= {**read_preview(request, draft), "sites": sites, "lacking": lacking}
    status = 422 if problems else 409 if context["errors"] else 200
    return render_page(request, "terms/publish.html", context, status=status)


@open_to("edit_terms")
@shown_for(of_terms_version, again=False)
def discard(request: HttpRequest, code: str, version: int) -> HttpResponse:
    """Ask whether to discard a draft, and discard it on POST."""
    user = get_user(request)
    draft = access_draft(user, code, version)
    errors: list[str] = []
    if request.method == "POST":
        try:
            discard_draft(draft=draft, opened_as=request.POST.get("opened_as", ""), now=timezone.now(), actor=user)
        except DraftChangedError as error:
            errors = error.messages
        else:
            return redirect("desk:terms")
    context = {"version": draft, "opened_as": compute_fingerprint(draft.document), "errors": errors}
    return render_page(request, "terms/discard.html", context, status=409 if errors else 200)
