"""What recording a treatment and an inspection share: the form, its draft, the summary, sign-off and amendments.

A kind of work by the lift says in a subclass of ``WorkPages`` what is its own; its views call the methods.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, ClassVar, Generic, Protocol, TypeVar

from django.core.exceptions import PermissionDenied, ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from desk.lift.views_sent import (
    answer_received,
    find_arrived,
    find_first_outcome,
    make_form_key,
    record_once,
    render_typed_by,
)
from desk.shared.access import access_vehicle, get_user, may_open
from desk.shared.shown import list_changes
from scheduling.covers.sign_off_effects import foresee_sign_off
from treatments.models import Inspection, Site, Treatment, User, Vehicle
from treatments.queries import find_today, list_reading_doubts
from treatments.reference.queries import find_site_of, list_sites, map_zone_names


class LiftForm(Protocol):
    """What the form of a treatment and that of an inspection have in common."""

    vehicle: Vehicle

    @property
    def wants_more(self) -> bool: ...
    def is_valid(self) -> bool: ...
    def add_errors(self, error: ValidationError) -> None: ...


Work = TypeVar("Work", Treatment, Inspection)
Form = TypeVar("Form", bound=LiftForm)


def find_site(user: User) -> Site:
    """Return the site at which a person works: their own, else the shop's first."""
    site = find_site_of(user) or next(iter(list_sites()), None)
    if site is None:
        raise PermissionDenied(_("The shop has no site yet; the owner adds one first."))
    return site


@dataclass(frozen=True)
class Job(Generic[Work]):
    """What a form by the lift is for.

    Attributes:
        mode: record, change or amend.
        purpose: tells its kept copies on a tablet apart.
        site: where the work was done.
        found: the work on record that is changed or amended.
    """

    mode: str
    purpose: str
    vehicle: Vehicle
    site: Site
    now: datetime
    found: Work | None = None

    @property
    def today(self) -> date:
        return find_today(self.now, self.site)


class WorkPages(Generic[Work, Form]):
    """The pages of one kind of work; ``name`` is that of its addresses, templates and services' parameter."""

    name: ClassVar[str]
    # Said where a draft is signed off without the box that confirms it.
    to_confirm: ClassVar[Any]

    access: Callable[[User, int], Work]
    compute_fingerprint: Callable[[Work], str]
    # The services, with the work under ``name`` where there is one.
    do_record: Callable[..., Work]
    do_change: Callable[..., Work]
    do_amend: Callable[..., Work]
    do_sign: Callable[..., Work]
    do_discard: Callable[..., None]

    def make_form(self, request: HttpRequest, job: Job[Work]) -> Form:
        raise NotImplementedError

    def receive(self, request: HttpRequest, job: Job[Work], form: Form) -> Form:
        """Return the form after what comes with it besides its fields was kept; called once the form is new."""
        return form

    def read_values(self, request: HttpRequest, form: Form) -> dict[str, Any]:
        """Return what a valid form says as all services of this work take it; called in their transaction."""
        raise NotImplementedError

    def describe_form(self, job: Job[Work], form: Form) -> dict[str, Any]:
        """Return what only this form shows."""
        raise NotImplementedError

    def describe(self, work: Work) -> dict[str, Any]:
        """Return what only this summary shows."""
        raise NotImplementedError

    def record(self, request: HttpRequest, vin: str) -> HttpResponse:
        """Record what was done or seen, as a draft that is signed off on the next page."""
        user = get_user(request)
        vehicle, site = access_vehicle(user, vin), find_site(user)
        job: Job[Work] = Job("record", f"{self.name} of vehicle {vehicle.pk}", vehicle, site, timezone.now())

        def write(values: dict[str, Any]) -> Work:
            return self.do_record(vehicle=vehicle, site=site, sign_off=False, **values)

        return self._handle(request, job, write)

    def change(self, request: HttpRequest, key: int) -> HttpResponse:
        """Change a draft."""
        found = self.access(get_user(request), key)
        if found.signed_off_at is not None and request.method != "POST":
            return redirect(f"desk:{self.name}", key=key)
        job = Job("change", f"draft of {self.name} {key}", found.vehicle, found.site, timezone.now(), found)

        def write(values: dict[str, Any]) -> Work:
            return self.do_change(fingerprint=request.POST.get("fingerprint", ""), **{self.name: found}, **values)

        return self._handle(request, job, write)

    def amend(self, request: HttpRequest, key: int) -> HttpResponse:
        """Replace signed-off work by a corrected version, with the reason; both stay visible."""
        found = self.access(get_user(request), key)
        is_open = found.signed_off_at is not None and not hasattr(found, "amended_by")
        if not is_open and request.method != "POST":
            return redirect(f"desk:{self.name}", key=key)
        job = Job("amend", f"amendment of {self.name} {key}", found.vehicle, found.site, timezone.now(), found)

        def write(values: dict[str, Any]) -> Work:
            reason = request.POST.get("reason", "").replace("\0", "").strip()[:300]
            without_odometer = values["odometer"] is None
            return self.do_amend(reason=reason, without_odometer=without_odometer, **{self.name: found}, **values)

        return self._handle(request, job, write)

    def _handle(self, request: HttpRequest, job: Job[Work], write: Callable[[dict[str, Any]], Work]) -> HttpResponse:
        """Record what a form says exactly once and lead to the record; else show it again with all that was typed."""
        user, form = get_user(request), self.make_form(request, job)
        if request.method != "POST":
            return self._show_form(request, job, form)

        def record_it() -> str:
            work = write(self.read_values(request, form) | {"now": job.now, "actor": user})
            return reverse(f"desk:{self.name}", args=[work.pk])

        try:
            if form.wants_more:
                return self._show_form(request, job, self.receive(request, job, form))
            arrived = find_arrived(request, job.purpose)
            if arrived:
                return answer_received(request, arrived)
            form = self.receive(request, job, form)
            if changes := list_changes(request):
                form.add_errors(ValidationError(changes))
                return self._show_form(request, job, form, status=409)
            if form.is_valid():
                received = record_once(request, user, purpose=job.purpose, now=job.now, record=record_it)
                return answer_received(request, received)
        except ValidationError as error:
            form.add_errors(error)
            first = find_first_outcome(error)
            return self._show_form(request, job, form, status=409 if first else 400, first_outcome=first)
        return self._show_form(request, job, form, status=400)

    def _show_form(
        self, request: HttpRequest, job: Job[Work], form: Form, *, status: int = 200, first_outcome: str = ""
    ) -> HttpResponse:
        fingerprint = self.compute_fingerprint(job.found) if job.mode == "change" and job.found else ""
        context = {
            "form": form,
            "vehicle": form.vehicle,
            "mode": job.mode,
            "purpose": job.purpose,
            "fingerprint": request.POST.get("fingerprint") or fingerprint,
            "reason": request.POST.get("reason", ""),
            "form_key": make_form_key(request),
            "typed_by": render_typed_by(request),
            "first_outcome": first_outcome,
        }
        context |= self.describe_form(job, form)
        return render(request, f"lift/record_{self.name}.html", context, status=status)

    def show(
        self, request: HttpRequest, key: int, *, errors: list[str] | None = None, status: int = 200
    ) -> HttpResponse:
        """Show work: a draft with what speaks against it and the step to sign it off, or the signed record."""
        user = get_user(request)
        found = self.access(user, key)
        context = {
            self.name: found,
            "zone_names": map_zone_names(),
            "doubts": list_reading_doubts(found),
            # Only a draft has a form that carries it.
            "fingerprint": "" if found.signed_off_at else self.compute_fingerprint(found),
            "may_record": may_open(user, "record_work"),
            "is_amended": hasattr(found, "amended_by"),
            "errors": errors or [],
        }
        if not found.signed_off_at:
            context["effects"] = foresee_sign_off(found, find_today(timezone.now(), found.site))
        return render(request, f"lift/{self.name}.html", context | self.describe(found), status=status)

    def sign_off(self, request: HttpRequest, key: int) -> HttpResponse:
        """Sign a draft off, as it was shown; sent twice it stays signed once."""
        user = get_user(request)
        found = self.access(user, key)
        if found.signed_off_at is not None and found.signed_off_by_id == user.pk:
            return redirect(f"desk:{self.name}", key=key)
        if changes := list_changes(request):
            return self.show(request, key, errors=changes, status=409)
        if request.POST.get("confirmed") != "yes":
            return self.show(request, key, errors=[str(self.to_confirm)], status=400)
        return self._finish(request, found, self.do_sign, redirect(f"desk:{self.name}", key=key))

    def discard(self, request: HttpRequest, key: int) -> HttpResponse:
        """Throw a draft away and lead back to the vehicle."""
        found = self.access(get_user(request), key)
        return self._finish(request, found, self.do_discard, redirect("desk:vehicle", vin=found.vehicle.vin))

    def _finish(
        self, request: HttpRequest, found: Work, service: Callable[..., object], done: HttpResponse
    ) -> HttpResponse:
        fingerprint = request.POST.get("fingerprint", "")
        try:
            service(fingerprint=fingerprint, now=timezone.now(), actor=get_user(request), **{self.name: found})
        except ValidationError as error:
            return self.show(request, found.pk, errors=error.messages, status=400)
        return done
