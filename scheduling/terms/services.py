"""What an owner does to warranty terms: start, save, discard and publish a draft, and choose a site's usual terms.

A draft always holds terms that can be published as they stand; one family of terms has at most one draft.
"""

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext

from scheduling.covers.services import publish_terms
from scheduling.models import SiteTerms, TermsVersion, WarrantyTerms
from scheduling.terms.queries import compute_fingerprint, find_next_version, read_terms_for_shop
from scheduling.terms.rules.terms_document import write_terms
from treatments.event_log import Happening, record_events
from treatments.models import Site, User


class DraftChangedError(ValidationError):
    """Somebody else saved, published or discarded the draft since it was opened; nothing was written."""


def _lock_draft(key: int, opened_as: str) -> TermsVersion:
    """Return the draft, locked, if it still is the text that was opened."""
    draft = TermsVersion.objects.select_for_update(of=("self",)).select_related("terms").filter(pk=key).first()
    if draft is None:
        raise DraftChangedError(gettext("This draft was discarded since you opened it."), code="discarded")
    if draft.published_at is not None:
        message = gettext("%(draft)s was published since you opened it and can't change; start a new version.")
        raise DraftChangedError(message, code="published", params={"draft": draft})
    if compute_fingerprint(draft.document) != opened_as:
        message = gettext("This draft was saved by somebody else, or in another window, since you opened it.")
        raise DraftChangedError(message, code="saved")
    return draft


@transaction.atomic
def start_draft(*, document: Mapping[str, Any], now: datetime, actor: User | None) -> TermsVersion:
    """Start a draft from a document that names its own code and version.

    Raises:
        TermsError: naming each field that is wrong.
        ValidationError: where the version is on record already, or the terms have a draft.
    """
    terms = read_terms_for_shop(document)
    family, _ = WarrantyTerms.objects.get_or_create(code=terms.code, defaults={"title": terms.title})
    WarrantyTerms.objects.select_for_update().get(pk=family.pk)
    open_draft = family.versions.filter(published_at__isnull=True).first()
    if open_draft:
        message = gettext("%(draft)s is a draft already; publish or discard that first.")
        raise ValidationError({"version": ValidationError(message, code="draft", params={"draft": open_draft})})
    last = family.versions.order_by("-version").first()
    if last and terms.version <= last.version:
        message = gettext("Version %(last)s of %(code)s is published; the next one is %(next)s.")
        params = {"last": last.version, "code": terms.code, "next": last.version + 1}
        raise ValidationError({"version": ValidationError(message, code="published", params=params)})
    draft = TermsVersion.objects.create(terms=family, version=terms.version, document=write_terms(terms))
    _tell("terms.draft_started", draft, None, now, actor)
    return draft


def start_next_version(*, version: TermsVersion, now: datetime, actor: User | None) -> TermsVersion:
    """Copy the text of a version into a draft of the next version of the same terms.

    Raises:
        TermsError: where the text names what the shop no longer has.
        ValidationError: where the terms have a draft.
    """
    number = find_next_version(version.terms.code)
    return start_draft(document=version.document | {"version": number}, now=now, actor=actor)


@transaction.atomic
def save_draft(
    *, draft: TermsVersion, document: Mapping[str, Any], opened_as: str, now: datetime, actor: User | None
) -> TermsVersion:
    """Save the text of a draft; its code and version stay. Saving the same text again changes nothing.

    Args:
        draft: the draft as it was opened.
        document: the new text.
        opened_as: the fingerprint of the text that was opened.

    Raises:
        TermsError: naming each field that is wrong.
        DraftChangedError: where the draft is no longer what was opened.
    """
    locked = _lock_draft(draft.pk, opened_as)
    fixed = {"code": locked.terms.code, "version": locked.version}
    plain = write_terms(read_terms_for_shop({**document, **fixed}))
    before = locked.document
    if plain == before:
        return locked
    locked.document = plain
    locked.save()
    _tell("terms.draft_saved", locked, before, now, actor)
    return locked


@transaction.atomic
def discard_draft(*, draft: TermsVersion, opened_as: str, now: datetime, actor: User | None) -> None:
    """Delete a draft; the event log keeps its text.

    Raises:
        DraftChangedError: where the draft is no longer what was opened.
    """
    locked = _lock_draft(draft.pk, opened_as)
    key, family, before = locked.pk, locked.terms, locked.document
    locked.delete()
    if not family.versions.exists():
        family.delete()
    happening = Happening("terms.draft_discarded", "terms_version", str(key), before={"document": before})
    record_events([happening], actor=actor, now=now)


@transaction.atomic
def publish_draft(
    *, draft: TermsVersion, opened_as: str, now: datetime, actor: User | None, usual_at: Iterable[Site] = ()
) -> TermsVersion:
    """Publish a draft as it was opened; from then on it never changes.

    Args:
        draft: the draft as it was opened.
        opened_as: the fingerprint of the text that was opened.
        usual_at: the sites that are to register new first treatments under it.

    Raises:
        TermsError: where the text names what the shop no longer has.
        DraftChangedError: where the draft is no longer what was opened.
    """
    locked = _lock_draft(draft.pk, opened_as)
    published = publish_terms(document=locked.document, now=now, actor=actor)
    for site in usual_at:
        set_usual_terms(site=site, version=published, now=now, actor=actor)
    return published


@transaction.atomic
def set_usual_terms(*, site: Site, version: TermsVersion, now: datetime, actor: User | None) -> None:
    """Register a site's new first treatments under a published version; covers on record stay where they are.

    Raises:
        ValidationError: where the version is not published.
    """
    if version.published_at is None:
        message = gettext("%(version)s is not published yet.")
        refused = ValidationError(message, code="not_published", params={"version": version})
        raise ValidationError({"terms_version": refused})
    chosen = SiteTerms.objects.select_for_update().filter(site=site).first()
    if chosen and chosen.terms_version_id == version.pk:
        return
    before = {"terms_version": chosen.terms_version_id} if chosen else None
    SiteTerms.objects.update_or_create(site=site, defaults={"terms_version": version})
    after = {"site": site.code, "terms_version": version.pk}
    record_events(
        [Happening("site.usual_terms_set", "site", str(site.pk), before=before, after=after)], actor=actor, now=now
    )


def _tell(kind: str, draft: TermsVersion, before: dict[str, Any] | None, now: datetime, actor: User | None) -> None:
    happening = Happening(
        kind,
        "terms_version",
        str(draft.pk),
        before={"document": before} if before else None,
        after={"document": draft.document},
    )
    record_events([happening], actor=actor, now=now)
