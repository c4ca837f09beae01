"""What a person does to the own log-in: another password, and one-time codes with their recovery codes."""

from textwrap import wrap

import segno
from django import forms
from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.contrib.auth.forms import PasswordChangeForm
from django.contrib.auth.password_validation import password_validators_help_texts
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from desk.people.log_in_limits import MUST_SET_UP
from desk.shared.access import get_user, open_to_all
from desk.shared.shown import shown_for
from desk.shared.shown_records import of_own_account
from treatments.models import User
from treatments.people.customers import change_own_password
from treatments.people.log_in_codes import (
    begin_codes,
    confirm_codes,
    find_unconfirmed,
    has_codes,
    make_address_for_app,
    make_secret_text,
    must_have_codes,
    renew_recovery_codes,
    stop_codes,
)


class ConfirmForm(forms.Form):
    code = forms.CharField(label=gettext_lazy("The code that the app shows"), max_length=12)


class OwnPasswordForm(forms.Form):
    """The own password once more, before something is made less safe."""

    password = forms.CharField(
        label=gettext_lazy("Your password"),
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )

    def __init__(self, *args: object, person: User, **options: object) -> None:
        super().__init__(*args, **options)  # type: ignore[arg-type]
        self.person = person

    def clean_password(self) -> str:
        password: str = self.cleaned_data["password"]
        if not self.person.check_password(password):
            raise ValidationError(_("This is not your password."))
        return password


@open_to_all
@require_safe
def account(request: HttpRequest) -> HttpResponse:
    """Show what a person can do to the own log-in."""
    user = get_user(request)
    return render(request, "people/account.html", {"has_codes": has_codes(user), "must": must_have_codes(user)})


@open_to_all
@require_http_methods(["GET", "HEAD", "POST"])
@shown_for(of_own_account)
def password(request: HttpRequest) -> HttpResponse:
    """Change the own password; every other session of the person ends."""
    user = get_user(request)
    form = PasswordChangeForm(user, request.POST if request.method == "POST" else None)
    # Django gives a list, which can't stand in the paragraph of a field.
    form.fields["new_password1"].help_text = " ".join(password_validators_help_texts())
    if request.method == "POST" and form.is_valid():
        change_own_password(person=user, password=form.cleaned_data["new_password1"])
        update_session_auth_hash(request, user)
        messages.success(request, _("Your password is changed. Where you were logged in elsewhere, you no longer are."))
        return redirect("desk:account")
    return render(request, "people/own_password.html", {"form": form}, status=400 if form.errors else 200)


@open_to_all
@never_cache
@require_safe
def codes(request: HttpRequest) -> HttpResponse:
    """Show whether the person logs in with codes, and the step that comes next."""
    return _show_codes(request, get_user(request))


@open_to_all
@never_cache
@require_POST
@shown_for(of_own_account, page=lambda action: "/account/codes/")
def change_codes(request: HttpRequest, action: str) -> HttpResponse:
    """Begin or confirm the set-up of codes, make new recovery codes, or stop codes."""
    user, now = get_user(request), timezone.now()
    if action == "begin":
        begin_codes(person=user)
        return redirect("desk:codes")
    if action == "confirm":
        return _confirm(request, user)
    if action not in ("renew", "stop"):
        raise Http404(f"No action {action} here.")
    form = OwnPasswordForm(request.POST, person=user, prefix=action)
    if form.is_valid():
        if action == "renew":
            return render(request, "shared/codes_new.html", {"recovery": renew_recovery_codes(person=user, now=now)})
        try:
            stop_codes(person=user, now=now)
        except ValidationError as error:
            form.add_error(None, error.messages)
        else:
            messages.success(request, _("You log in without a code from now on."))
            return redirect("desk:account")
    return _show_codes(request, user, bound={action: form})


def _confirm(request: HttpRequest, user: User) -> HttpResponse:
    form = ConfirmForm(request.POST)
    if form.is_valid():
        try:
            recovery = confirm_codes(person=user, code=form.cleaned_data["code"], now=timezone.now())
        except ValidationError as error:
            form.add_error("code", error.messages)
        else:
            request.session.pop(MUST_SET_UP, None)
            return render(request, "shared/codes_new.html", {"recovery": recovery})
    return _show_codes(request, user, bound={"confirm": form})


def _show_codes(request: HttpRequest, user: User, *, bound: dict[str, forms.Form] | None = None) -> HttpResponse:
    bound = bound or {}
    begun = find_unconfirmed(user)
    context = {
        "has_codes": has_codes(user),
        "must": must_have_codes(user),
        "begun": begun,
        "picture": _draw_code(make_address_for_app(begun)) if begun else "",
        # In groups, to be read aloud and typed; apps leave the gaps out.
        "secret": " ".join(wrap(make_secret_text(begun), 4)) if begun else "",
        "confirm": bound.get("confirm") or ConfirmForm(),
        "renew": bound.get("renew") or OwnPasswordForm(person=user, prefix="renew"),
        "stop": bound.get("stop") or OwnPasswordForm(person=user, prefix="stop"),
        "form": next(iter(bound.values()), None),
    }
    return render(request, "shared/codes.html", context, status=400 if bound else 200)


def _draw_code(text: str) -> SafeString:
    """Return a QR code as SVG; nothing of the text stands in it as markup."""
    return mark_safe(segno.make(text, error="m").svg_inline(scale=5, border=4, light="#fff", omitsize=False))
