"""The pages of the warranty terms: who reads and who edits, the form with its errors, drafts of two people, files."""

import html
import re
import tomllib
from io import BytesIO
from typing import Any

import pytest
from django.test import Client

from desk.terms import views_draft as terms_draft
from desk.terms.form import find_id
from scheduling.models import SiteTerms, TermsVersion, WarrantyTerms
from scheduling.terms.queries import compute_fingerprint
from scheduling.terms.rules.terms_document import read_terms
from tests.conftest import FIXTURES, ShopForTests
from tests.table_contents import read_tables
from treatments.enums import Role
from treatments.models import Dealership, Product, User

pytestmark = pytest.mark.django_db
DRAFT = "/terms/lifetime-yearly/2/"


def log_in(role: Role) -> Client:
    dealership = Dealership.objects.create(code="d", name="D") if role is Role.DEALERSHIP else None
    user, _ = User.objects.get_or_create(username=role, defaults={"role": role, "dealership": dealership})
    client = Client()
    client.force_login(user)
    return client


@pytest.fixture
def owner(shop: ShopForTests) -> Client:
    return log_in(Role.OWNER)


def start(client: Client, code: str = "lifetime-yearly") -> TermsVersion:
    version = TermsVersion.objects.get(terms__code=code, version=1)
    answer = client.post("/terms/start/", {"how": "next", "from": version.pk})
    assert (answer.status_code, answer.headers["Location"]) == (302, f"/terms/{code}/2/edit/")
    return TermsVersion.objects.get(terms__code=code, version=2)


def read_fields(page: str) -> dict[str, Any]:
    """Return what a browser would post from the form of a draft."""
    page = page[page.index('<form method="post" class="form"') :]
    posted: dict[str, Any] = {}
    for tag in re.findall(r"<input[^>]*>", page):
        name, value = re.search(r'name="([^"]*)"', tag), re.search(r'value="([^"]*)"', tag)
        if name and ('type="checkbox"' not in tag or " checked" in tag):
            posted.setdefault(name[1], []).append(html.unescape(value[1]) if value else "on")
    for name, options in re.findall(r'<select[^>]* name="([^"]*)"[^>]*>(.*?)</select>', page, re.DOTALL):
        chosen = re.search(r'value="([^"]*)" selected', options) or re.search(r'value="([^"]*)"', options)
        assert chosen
        posted[name] = [chosen[1]]
    for name, text in re.findall(r'<textarea[^>]* name="([^"]*)"[^>]*>(.*?)</textarea>', page, re.DOTALL):
        posted[name] = [html.unescape(text)]
    return posted


def open_form(client: Client, address: str = f"{DRAFT}edit/") -> dict[str, Any]:
    answer = client.get(address)
    assert answer.status_code == 200
    return read_fields(answer.content.decode())


@pytest.mark.parametrize(
    ("role", "reads", "edits"),
    [
        (Role.OWNER, 200, 200),
        (Role.WARRANTY_ADMINISTRATOR, 200, 403),
        (Role.SERVICE_WRITER, 200, 403),
        (Role.APPLICATOR, 403, 403),
        (Role.DEALERSHIP, 403, 403),
    ],
)
def test_who_reads_and_who_edits(owner: Client, role: Role, reads: int, edits: int) -> None:
    start(owner)
    client = log_in(role)
    assert client.get("/terms/").status_code == reads
    assert client.get("/terms/lifetime-yearly/1/").status_code == reads
    assert client.get("/terms/lifetime-yearly/1/terms.toml").status_code == reads
    draft = 200 if role is Role.OWNER else 404 if reads == 200 else 403
    assert client.get(DRAFT).status_code == draft
    assert client.get(f"{DRAFT}terms.toml").status_code == draft
    for page in ("edit", "preview", "publish", "discard"):
        assert client.get(f"{DRAFT}{page}/").status_code == edits
    assert client.get("/terms/start/").status_code == edits
    before = read_tables()
    if edits == 403:
        assert client.post(f"{DRAFT}edit/", {"title": "Mine"}).status_code == 403
        assert client.post(f"{DRAFT}publish/").status_code == 403
        assert client.post(f"{DRAFT}discard/").status_code == 403
        assert client.post("/terms/start/", {"how": "next"}).status_code == 403
        page = client.get("/terms/")
        assert b"Start a draft" not in page.content
        assert b"draft</span>" not in page.content
        after = read_tables()
        assert {name: rows for name, rows in before.items() if "session" not in name} == {
            name: rows for name, rows in after.items() if "session" not in name
        }


def test_a_published_version_is_read_in_words_and_never_edited(owner: Client) -> None:
    page = owner.get("/terms/lifetime-yearly/1/").content.decode()
    for words in ("The cover runs without end.", "Left rocker panel", "The customer pays $100.00 of each claim."):
        assert words in page, words
    for action in ("edit", "publish", "discard"):
        assert owner.get(f"/terms/lifetime-yearly/1/{action}/").status_code == 404
    assert owner.get("/terms/nothing/1/").status_code == 404
    listed = owner.get("/terms/").content.decode()
    assert "Used for new first treatments at" in listed
    assert "Mill Lane Rust Protection" in listed


@pytest.mark.parametrize("path", sorted((FIXTURES / "terms").glob("*.toml")), ids=lambda path: path.stem)
def test_the_form_of_any_terms_posts_back_the_same_terms(owner: Client, path: Any) -> None:
    code = tomllib.loads(path.read_text("utf-8"))["code"]
    draft = start(owner, code)
    answer = owner.post(f"/terms/{code}/2/edit/", {**open_form(owner, f"/terms/{code}/2/edit/"), "do": "save"})
    assert (answer.status_code, answer.headers["Location"]) == (302, f"/terms/{code}/2/edit/?saved=1")
    assert TermsVersion.objects.get(pk=draft.pk).document == draft.document


def test_rows_are_added_and_taken_out_and_parts_are_switched(owner: Client) -> None:
    draft = start(owner)
    posted = open_form(owner)
    assert "touch_ups[4].interval_months" in posted
    assert "touch_ups[5].interval_months" not in posted
    posted |= {
        "title": "Twice a year",
        "touch_ups[1].interval_months": "", "touch_ups[1].family": "", "touch_ups[1].zone_kind": "",
        "touch_ups[4].interval_months": "48",
        "seasons[1].first_month": "11", "seasons[1].first_day": "1",
        "seasons[1].last_month": "3", "seasons[1].last_day": "15",
        "claims.exclusions": "Hail\r\n\r\n Flood \r\n",
        "claims.limit_in_all": "",
        "claims.pay_down[0].from_month": "36", "claims.pay_down[0].percent": "62.50",
    }  # fmt: skip
    del posted["severe_exposure.on"], posted["entry.intake_inspection_required"]
    assert owner.post(f"{DRAFT}edit/", {**posted, "do": "preview"}).headers["Location"] == f"{DRAFT}preview/"
    draft.refresh_from_db()
    terms = read_terms(draft.document)
    assert [(rule.interval_months, rule.family) for rule in terms.touch_ups] == [
        (12, "penetrating_film"),
        (36, "underbody_wax"),
        (48, None),
    ]
    assert [season.first_month for season in terms.seasons] == [11]
    assert (terms.title, terms.severe_exposure, terms.claims.limit_in_all) == ("Twice a year", None, None)
    assert terms.claims.exclusions == ("Hail", "Flood")
    assert str(terms.claims.pay_down[0].percent) == "62.50"
    assert not terms.entry.intake_inspection_required
    page = owner.get(DRAFT).content.decode()
    assert "marks what version" in page


def test_errors_stand_above_the_heading_and_at_their_fields_and_what_was_typed_stays(owner: Client) -> None:
    draft = start(owner)
    typed = {
        "reinspection.grace_days": "300",
        "touch_ups[3].interval_months": "48", "touch_ups[3].family": "clear_engine_bay_film",
        "claims.limit_per_claim": "9000",
        "entry.required_zones": ["rocker_left", "<b>roof</b>"],
    }  # fmt: skip
    answer = owner.post(f"{DRAFT}edit/", {**open_form(owner), **typed, "do": "publish"})
    assert answer.status_code == 422
    page = answer.content.decode()
    assert page.index('role="alert"') < page.index("<h1>")
    for name in (name for name in typed if name != "touch_ups[3].interval_months"):
        assert f'<a href="#{find_id(name)}">' in page, name
        assert f'id="{find_id(name)}"' in page, name
        assert f'id="{find_id(name)}-error"' in page, name
    assert "its products are of: cavity_wax, penetrating_film, underbody_wax" in page
    assert "More than “Limit in all”, 8,000" in page
    assert "<b>roof" not in page
    kept = read_fields(page)
    assert {name: kept[name] for name in typed if name != "entry.required_zones"} == {
        name: [value] for name, value in typed.items() if name != "entry.required_zones"
    }
    assert "&lt;b&gt;roof&lt;/b&gt;" in page
    draft.refresh_from_db()
    assert draft.document["reinspection"]["grace_days"] == 30
    wrong = {"claims.notice_days": "soon", "title": " ", "seasons[0].first_month": "May", "currency": ""}
    page = owner.post(f"{DRAFT}edit/", {**open_form(owner), **wrong}).content.decode()
    for name in (*wrong, "seasons[0].last_day"):
        assert f'<a href="#{find_id(name)}">' in page, name
    assert read_fields(page)["claims.notice_days"] == ["soon"]


def test_a_part_that_is_switched_off_is_still_filled_after_an_error(owner: Client) -> None:
    start(owner)
    posted = open_form(owner) | {"severe_exposure.touch_up_interval_months": "11", "title": ""}
    del posted["severe_exposure.on"]
    kept = read_fields(owner.post(f"{DRAFT}edit/", posted).content.decode())
    assert "severe_exposure.on" not in kept
    assert kept["severe_exposure.touch_up_interval_months"] == ["11"]


def test_a_draft_that_somebody_else_saved_is_not_overwritten(owner: Client) -> None:
    draft = start(owner)
    mine, theirs = open_form(owner), open_form(owner)
    owner.post(f"{DRAFT}edit/", {**theirs, "reinspection.grace_days": "20"})
    refused = owner.post(f"{DRAFT}edit/", {**mine, "title": "Mine"})
    assert refused.status_code == 409
    page = refused.content.decode()
    assert "the draft of terms was saved" in page
    assert "Reinspections: Grace: on file “20”, here “30”" in page
    draft.refresh_from_db()
    assert (draft.document["title"], draft.document["reinspection"]["grace_days"]) == (
        "Lifetime with yearly reinspection",
        20,
    )
    again = read_fields(page)
    assert again["title"] == ["Mine"]
    assert owner.post(f"{DRAFT}edit/", again).status_code == 302
    draft.refresh_from_db()
    assert draft.document["title"] == "Mine"


def test_a_form_is_kept_where_the_draft_was_published_meanwhile(owner: Client) -> None:
    draft = start(owner)
    posted = open_form(owner)
    owner.post(f"{DRAFT}publish/", {"opened_as": compute_fingerprint(draft.document)})
    refused = owner.post(f"{DRAFT}edit/", {**posted, "title": "Too late"})
    assert refused.status_code == 409
    assert "the terms were published" in refused.content.decode()
    assert read_fields(refused.content.decode())["title"] == ["Too late"]
    assert TermsVersion.objects.get(pk=draft.pk).document["title"] == "Lifetime with yearly reinspection"


def test_publishing_asks_first_and_then_stands(owner: Client) -> None:
    draft = start(owner)
    page = owner.get(f"{DRAFT}publish/").content.decode()
    assert "A published version never changes." in page
    assert "covers compared" in page
    assert TermsVersion.objects.get(pk=draft.pk).published_at is None
    stale = owner.post(f"{DRAFT}publish/", {"opened_as": "x"})
    assert stale.status_code == 409
    opened_as = compute_fingerprint(draft.document)
    answer = owner.post(f"{DRAFT}publish/", {"opened_as": opened_as, "usual_at": ["mill-lane"]})
    assert answer.headers["Location"] == DRAFT
    assert TermsVersion.objects.get(pk=draft.pk).published_at is not None
    assert SiteTerms.objects.get().terms_version_id == draft.pk
    assert owner.get(f"{DRAFT}edit/").status_code == 404


def test_a_long_comparison_is_asked_for_by_the_page(owner: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    start(owner)
    for page in ("preview", "publish"):
        at_once = owner.get(f"{DRAFT}{page}/").content.decode()
        assert "covers compared" in at_once and "hx-get" not in at_once.partition('id="comparison"')[2][:200]
    monkeypatch.setattr(terms_draft, "COMPARED_AT_ONCE", -1)
    for page in ("preview", "publish"):
        waits = owner.get(f"{DRAFT}{page}/?covers=*").content.decode()
        assert "covers compared" not in waits and "Comparing covers and claims" in waits
        (asked,) = set(re.findall(r'hx-get="([^"]+)"', waits))
        assert f'<a href="{asked}">Open the page with the comparison</a>' in waits  # without scripts
        compared = owner.get(f"{DRAFT}{page}/{asked.replace('&amp;', '&')}").content.decode()
        assert "covers compared" in compared and "If every cover were moved" in compared


def test_a_draft_that_no_longer_fits_the_shop_is_neither_previewed_nor_published(owner: Client) -> None:
    draft = start(owner)
    Product.objects.filter(family="underbody_wax").delete()
    for page in ("preview", "publish"):
        answer = owner.get(f"{DRAFT}{page}/")
        assert answer.status_code == 422
        assert "its products are of: cavity_wax, penetrating_film." in answer.content.decode()
    posted = {"opened_as": compute_fingerprint(draft.document)}
    assert owner.post(f"{DRAFT}publish/", posted).status_code == 422
    assert TermsVersion.objects.get(pk=draft.pk).published_at is None


def test_discarding_asks_first(owner: Client) -> None:
    draft = start(owner)
    assert owner.get(f"{DRAFT}discard/").status_code == 200
    assert owner.post(f"{DRAFT}discard/", {"opened_as": "x"}).status_code == 409
    assert TermsVersion.objects.filter(pk=draft.pk).exists()
    opened_as = compute_fingerprint(draft.document)
    assert owner.post(f"{DRAFT}discard/", {"opened_as": opened_as}).headers["Location"] == "/terms/"
    assert not TermsVersion.objects.filter(pk=draft.pk).exists()


def test_a_downloaded_file_starts_the_next_version(owner: Client) -> None:
    answer = owner.get("/terms/pay-down/1/terms.toml")
    assert answer.headers["Content-Disposition"] == 'attachment; filename="pay-down-1.toml"'
    document = tomllib.loads(answer.content.decode())
    assert document == TermsVersion.objects.get(terms__code="pay-down").document
    changed = answer.content.replace(b"length_months = 96", b"length_months = 84")
    started = upload(owner, changed)
    assert started.headers["Location"] == "/terms/pay-down/2/edit/"
    assert TermsVersion.objects.get(terms__code="pay-down", version=2).document["length_months"] == 84


def upload(client: Client, content: bytes) -> Any:
    file = BytesIO(content)
    file.name = "terms.toml"
    return client.post("/terms/start/", {"how": "file", "file": file})


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"code = ", "terms.toml is not a TOML file"),
        (b"\xff\xfe", "terms.toml is not a TOML file"),
        (b"a = " + b"[" * 9000, "terms.toml is not a TOML file"),
        (b"#" * 100_001, "larger than any terms"),
        (b"code = 5", "code = 5: Write some text."),
        (b'code = "x y"\nversion = 1\ntitle = "T"', "code = &#39;x y&#39;"),
        (b'code = "x"\ntitle = "T"\nlength_months = 2020-01-01', "length_months = datetime.date(2020, 1, 1)"),
    ],
    ids=["not-toml", "not-text", "deep", "large", "number", "code", "date"],
)
def test_a_file_that_is_no_terms_starts_nothing(owner: Client, content: bytes, said: str) -> None:
    answer = upload(owner, content)
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert not TermsVersion.objects.filter(published_at__isnull=True).exists()


def test_terms_under_a_code_of_their_own(owner: Client) -> None:
    version = TermsVersion.objects.get(terms__code="pay-down")
    posted = {"how": "copy", "from": version.pk, "code": "five-years", "title": "Five years"}
    assert owner.post("/terms/start/", posted).headers["Location"] == "/terms/five-years/1/edit/"
    assert owner.post("/terms/start/", posted).status_code == 422
    assert owner.post("/terms/start/", {**posted, "code": "a b"}).status_code == 422
    assert owner.post("/terms/start/", {"how": "next", "from": "x"}).status_code == 422
    assert owner.post("/terms/start/", {"how": "file"}).status_code == 422
    assert set(WarrantyTerms.objects.values_list("code", flat=True)) & {"five-years", "a b"} == {"five-years"}
    again = owner.post("/terms/start/", {"how": "next", "from": TermsVersion.objects.get(terms__code="five-years").pk})
    assert again.headers["Location"] == "/terms/five-years/1/edit/"


def test_a_preview_page_writes_nothing(owner: Client) -> None:
    draft = start(owner)
    before = read_tables()
    for query in ("", "?covers=pay-down", "?covers=*", "?covers=nonsense"):
        page = owner.get(f"{DRAFT}preview/{query}")
        assert page.status_code == 200
        assert "No cover to compare" in page.content.decode()
    after = read_tables()
    assert {k: v for k, v in after.items() if "session" not in k} == {
        k: v for k, v in before.items() if "session" not in k
    }
    assert TermsVersion.objects.get(pk=draft.pk).document == draft.document


def test_a_form_reads_any_garbage_without_falling_over(owner: Client) -> None:
    opened_as = compute_fingerprint(start(owner).document)
    for posted in (
        {},
        {"opened_as": "x", "touch_ups[999].interval_months": "1", "touch_ups[x].interval_months": "1"},
        {"title": "\x00", "entry.required_zones": ["\x00"]},
        {"reinspection.on": "on", "reinspection.anchor": "moon", "claims.damage_covered": ["dents", "dents"]},
    ):
        assert owner.post(f"{DRAFT}edit/", posted).status_code == 409
        assert owner.post(f"{DRAFT}edit/", {**posted, "opened_as": opened_as}).status_code == 422
    nought = {**open_form(owner), "title": "\x00", "entry.required_zones": ["\x00"]}
    assert owner.post(f"{DRAFT}edit/", nought).status_code == 422
