"""The main jobs of those who don't stand by the lift: a claim decided, terms published, a report pulled."""

from collections.abc import Callable
from decimal import Decimal

import pytest
from playwright.sync_api import BrowserContext, Page, expect
from rest_framework.authtoken.models import Token

from claims.models import Claim, ClaimDecision
from desk.terms import views_draft as terms_draft
from scheduling.models import Appointment, Cover, SeasonPlan, SiteTerms, TermsVersion
from treatments.models import Dealership, User

OpenPage = Callable[..., Page]


def test_a_warranty_administrator_checks_a_claim_decides_otherwise_with_a_reason_and_gets_the_letter(
    desk: str, open_page: OpenPage
) -> None:
    claim = Claim.objects.get(decisions__isnull=True)
    page = open_page("/claims/", "warranty")
    page.get_by_role("link", name=claim.number).first.click()
    # Every rule with its answer, in words and not by colour alone, and the record that it rests on.
    expect(page.get_by_role("heading", level=1)).to_contain_text(claim.number)
    for text in ("Do the terms cover this kind of damage?", "holds", "treatment "):
        expect(page.get_by_role("main")).to_contain_text(text)
    page.get_by_label("Decision").select_option("refuse")
    page.get_by_label("Amount").first.fill("0")
    page.get_by_role("button", name="Read the letter first").click()
    # It differs from what the findings recommend, so a reason is wanted; nothing was decided.
    expect(page.locator(".errors")).to_be_focused()
    assert page.title().startswith("Error: ") and not claim.decisions.exists()
    page.get_by_label("Reason").fill("The customer withdrew the claim on the telephone.")
    page.get_by_role("button", name="Read the letter first").click()
    # The letter is read first; only then is it decided.
    expect(page.get_by_role("main")).to_contain_text("The customer withdrew the claim")
    assert not claim.decisions.exists()
    page.get_by_role("button", name="Decide so").click()
    expect(page.get_by_role("link", name="Letter").first).to_be_visible()
    expect(page.get_by_role("main")).to_contain_text("The customer withdrew the claim")
    decision = ClaimDecision.objects.get(claim=claim)
    assert (decision.kind, decision.amount, decision.decided_by.username) == ("refuse", Decimal(0), "warranty")
    page.get_by_role("link", name="Letter").first.click()
    expect(page.get_by_role("main")).to_contain_text(claim.number)


def test_the_owner_writes_a_version_sees_what_it_would_change_and_publishes_it(desk: str, open_page: OpenPage) -> None:
    TermsVersion.objects.filter(published_at__isnull=True).delete()
    terms = SiteTerms.objects.get().terms_version
    page = open_page(f"/terms/{terms.terms.code}/{terms.version}/", "owner")
    page.get_by_role("button", name="New version").click()
    page.locator("[name='reinspection.grace_days']").fill("-5")
    page.get_by_role("button", name="Save and preview").click()
    expect(page.locator(".errors")).to_be_focused()
    assert TermsVersion.objects.filter(published_at__isnull=False, terms=terms.terms).count() == 1
    page.locator("[name='reinspection.grace_days']").fill("0")
    page.get_by_role("button", name="Save and preview").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Preview")
    expect(page.get_by_role("main")).to_contain_text("Due dates")
    page.get_by_role("link", name="Publish …").click()
    page.get_by_role("checkbox").first.check()
    page.get_by_role("button", name="Publish version 2").click()
    expect(page.get_by_role("main")).to_contain_text("it never changes")
    newest = TermsVersion.objects.get(terms=terms.terms, version=2)
    assert newest.published_at is not None
    assert SiteTerms.objects.get().terms_version == newest


def test_a_dealership_pulls_only_its_own_vehicles(
    desk: str, new_context: Callable[..., BrowserContext], open_page: OpenPage
) -> None:
    mine = Dealership.objects.get(code="harbour-mile")
    theirs = Cover.objects.exclude(dealership=mine)
    token = Token.objects.get(user=User.objects.get(username="dealer"))
    caller = new_context(extra_http_headers={"Authorization": f"Token {token.key}"}).request
    numbers = set()
    address: str | None = "/api/v1/covers/"
    while address:
        answer = caller.get(address)
        assert answer.ok
        found = answer.json()
        numbers |= {cover["number"] for cover in found["results"]}
        address = found["next"]
    assert numbers == set(Cover.objects.filter(dealership=mine).values_list("number", flat=True)) and numbers
    assert caller.get(f"/api/v1/covers/{theirs[0].number}/").status == 404
    assert new_context().request.get("/api/v1/covers/").status == 401
    # The same on the desk, for a person.
    page = open_page("/vehicles/", "dealer")
    shown = page.get_by_role("main").inner_text()
    for cover in theirs.select_related("vehicle"):
        assert cover.vehicle.plate not in shown
    assert any(cover.vehicle.plate in shown for cover in Cover.objects.filter(dealership=mine))


def test_the_owner_has_a_season_planned_and_a_service_writer_books_a_week_of_it(desk: str, open_page: OpenPage) -> None:
    before, plans = Appointment.objects.count(), SeasonPlan.objects.count()
    page = open_page("/season/", "owner")
    page.get_by_label("Last day").fill("2020-01-01")
    page.get_by_role("button", name="Make the plan").click()
    expect(page.locator(".errors")).to_be_focused()
    assert SeasonPlan.objects.count() == plans
    page = open_page("/season/", "writer")
    page.get_by_role("button", name="Make the plan").click()
    expect(page.get_by_role("table").first).to_contain_text("This plan")
    ticked = page.locator("input[name=proposal]").count()
    assert ticked and SeasonPlan.objects.count() == plans + 1
    page.get_by_role("button", name="Accept what is ticked").click()
    expect(page.get_by_role("main")).to_contain_text("Nothing is booked yet.")
    assert Appointment.objects.count() == before
    page.get_by_role("button", name="Book them").click()
    expect(page.get_by_role("status")).to_contain_text("booked")
    assert Appointment.objects.count() == before + ticked


def test_what_takes_long_is_told_and_comes_by_itself(
    desk: str, open_page: OpenPage, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(terms_draft, "COMPARED_AT_ONCE", -1)
    version = TermsVersion.objects.select_related("terms").order_by("pk")[0]
    page = open_page(f"/terms/{version.terms.code}/{version.version}/preview/", "owner")
    expect(page.locator("#comparison")).to_contain_text("covers compared")
    expect(page.get_by_text("Comparing covers and claims on record")).to_have_count(0)
    made = SeasonPlan.objects.order_by("-pk")[0]
    waiting = SeasonPlan.objects.create(
        first_day=made.first_day, last_day=made.last_day, as_of=made.as_of, made_at=made.made_at
    )
    page = open_page("/season/", "writer")
    expect(page.locator("#to-come")).to_contain_text("is being made")
    waiting.delete()
    expect(page.locator("#to-come")).to_contain_text("The plan is made.", timeout=15_000)
    page.get_by_role("link", name="Show it").click()
    expect(page.locator("#to-come")).to_have_count(0)
