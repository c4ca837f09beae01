"""Drafts of terms through the services: what is written, what is refused, and the rows and events afterwards."""

from typing import Any

import pytest
from django.core.exceptions import ValidationError

from scheduling.covers.services import publish_terms
from scheduling.models import SiteTerms, TermsVersion, WarrantyTerms
from scheduling.terms.queries import compute_fingerprint, find_draft, find_next_version
from scheduling.terms.rules.terms_document import TermsError
from scheduling.terms.services import (
    DraftChangedError,
    discard_draft,
    publish_draft,
    save_draft,
    set_usual_terms,
    start_draft,
    start_next_version,
)
from tests.conftest import NOW, ShopForTests
from treatments.models import Event, Product, Site, Zone
from treatments.rules.explanation import explain

pytestmark = pytest.mark.django_db


@pytest.fixture
def published(shop: ShopForTests) -> TermsVersion:
    return TermsVersion.objects.get(terms__code="lifetime-yearly")


@pytest.fixture
def draft(published: TermsVersion) -> TermsVersion:
    return start_next_version(version=published, now=NOW, actor=None)


def save(draft: TermsVersion, opened_as: str = "", **changed: Any) -> TermsVersion:
    return save_draft(
        draft=draft,
        document=draft.document | changed,
        opened_as=opened_as or compute_fingerprint(draft.document),
        now=NOW,
        actor=None,
    )


def list_events() -> list[str]:
    return list(Event.objects.order_by("position").values_list("kind", flat=True))


def test_a_next_version_is_a_draft_with_the_same_text(published: TermsVersion, draft: TermsVersion) -> None:
    assert (draft.version, draft.published_at, find_next_version("lifetime-yearly")) == (2, None, 3)
    assert draft.document == published.document | {"version": 2}
    assert list_events()[-1] == "terms.draft_started"
    with pytest.raises(ValidationError) as caught:
        start_next_version(version=published, now=NOW, actor=None)
    (refused,) = caught.value.error_dict["version"]
    assert (refused.code, refused.params) == ("draft", {"draft": draft})
    assert TermsVersion.objects.filter(terms=published.terms).count() == 2


def test_a_draft_keeps_to_the_order_of_versions(published: TermsVersion) -> None:
    with pytest.raises(ValidationError) as caught:
        start_draft(document=published.document | {"title": "Other"}, now=NOW, actor=None)
    (refused,) = caught.value.error_dict["version"]
    assert (refused.code, refused.params) == ("published", {"last": 1, "code": "lifetime-yearly", "next": 2})


def test_saving_keeps_code_and_version_and_writes_only_a_change(draft: TermsVersion) -> None:
    saved = save(draft, title="Lifetime, seen twice a year", code="other", version=9)
    assert saved.document["title"] == "Lifetime, seen twice a year"
    assert (saved.document["code"], saved.document["version"]) == ("lifetime-yearly", 2)
    told = list_events()
    assert told[-1] == "terms.draft_saved"
    save(saved)
    assert list_events() == told


def test_a_draft_that_contradicts_itself_or_the_shop_is_not_saved(draft: TermsVersion) -> None:
    with pytest.raises(TermsError) as caught:
        save(
            draft,
            touch_ups=[{"interval_months": 12, "family": "clear_engine_bay_film"}],
            entry={"required_zones": ["roof_rack"]},
            claims={"damage_covered": []},
        )
    assert [problem.field for problem in caught.value.problems] == [
        "claims.damage_covered",
        "touch_ups[0].family",
        "entry.required_zones[0]",
    ]
    families = ("cavity_wax", "penetrating_film", "underbody_wax")
    assert caught.value.problems[1].explanation == explain("terms.problem.no_product_of_family", families=families)
    draft.refresh_from_db()
    assert "claims" in draft.document
    assert list_events()[-1] == "terms.draft_started"


def test_two_people_on_one_draft_never_overwrite_each_other(draft: TermsVersion) -> None:
    opened_as = compute_fingerprint(draft.document)
    save(draft, opened_as, title="First")
    for attempt in (
        lambda: save(draft, opened_as, title="Second"),
        lambda: publish_draft(draft=draft, opened_as=opened_as, now=NOW, actor=None),
        lambda: discard_draft(draft=draft, opened_as=opened_as, now=NOW, actor=None),
    ):
        with pytest.raises(DraftChangedError) as caught:
            attempt()
        assert caught.value.code == "saved"
    draft.refresh_from_db()
    assert (draft.document["title"], draft.published_at) == ("First", None)


def test_publishing_a_draft_makes_it_stand_and_can_make_it_usual(shop: ShopForTests, draft: TermsVersion) -> None:
    opened_as = compute_fingerprint(draft.document)
    site = Site.objects.get()
    version = publish_draft(draft=draft, opened_as=opened_as, now=NOW, actor=None, usual_at=[site])
    assert version.published_at == NOW
    assert SiteTerms.objects.get(site=site).terms_version == version
    assert list_events()[-2:] == ["terms.published", "site.usual_terms_set"]
    with pytest.raises(DraftChangedError) as caught:
        save(draft, opened_as, title="Too late")
    assert caught.value.code == "published"
    set_usual_terms(site=site, version=version, now=NOW, actor=None)
    assert list_events()[-1] == "site.usual_terms_set"
    assert list_events().count("site.usual_terms_set") == 1


def test_a_draft_is_published_only_while_the_shop_has_what_it_names(draft: TermsVersion) -> None:
    Zone.objects.filter(code="underside_middle").update(code="underside_centre")
    with pytest.raises(TermsError, match="underside_middle"):
        publish_draft(draft=draft, opened_as=compute_fingerprint(draft.document), now=NOW, actor=None)
    draft.refresh_from_db()
    assert draft.published_at is None


def test_discarding_the_only_version_leaves_nothing_behind(published: TermsVersion) -> None:
    document = published.document | {"code": "five-years", "version": 1, "title": "Five years"}
    draft = start_draft(document=document, now=NOW, actor=None)
    assert find_draft("five-years") == draft
    discard_draft(draft=draft, opened_as=compute_fingerprint(draft.document), now=NOW, actor=None)
    assert not WarrantyTerms.objects.filter(code="five-years").exists()
    event = Event.objects.order_by("position").last()
    assert event is not None
    assert (event.kind, event.before["document"]["title"]) == ("terms.draft_discarded", "Five years")
    with pytest.raises(DraftChangedError) as caught:
        save(TermsVersion(pk=draft.pk or 10**6, document=document))
    assert caught.value.code == "discarded"


def test_a_file_does_not_publish_over_a_draft_with_another_text(draft: TermsVersion) -> None:
    with pytest.raises(ValidationError) as refused:
        publish_terms(document=draft.document | {"title": "From a file"}, now=NOW, actor=None)
    assert refused.value.error_dict["version"][0].code == "draft"
    assert publish_terms(document=draft.document, now=NOW, actor=None).pk == draft.pk


def test_a_draft_is_not_usual_and_no_product_means_no_touch_up_of_its_family(
    shop: ShopForTests, draft: TermsVersion
) -> None:
    with pytest.raises(ValidationError) as caught:
        set_usual_terms(site=Site.objects.get(), version=draft, now=NOW, actor=None)
    assert caught.value.error_dict["terms_version"][0].code == "not_published"
    Product.objects.filter(family="underbody_wax").delete()
    document = draft.document | {"code": "other", "version": 1}
    with pytest.raises(TermsError, match=r"touch_ups\[2\].family = 'underbody_wax'"):
        publish_terms(document=document, now=NOW, actor=None)
    assert not WarrantyTerms.objects.filter(code="other").exists()
