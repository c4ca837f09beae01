"""All messages to customers: what waits, was sent, failed or was withdrawn, with why; and sending one again."""

from typing import Any
from urllib.parse import urlencode

from django import forms
from django.contrib import messages as notes
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_POST, require_safe

from desk.booking.page import list_errors
from desk.claims.views_handling import add_errors
from desk.forms.fields import read_whole
from desk.shared.access import access_message, get_user, may_open, open_to
from desk.shared.files import answer_pdf
from desk.shared.shown import find_clock_of, shown_for
from desk.shared.shown_records import of_letters_to_print, of_message
from notifications.customer_page.links import mask_links
from notifications.documents.letters import describe_message, render_letters
from notifications.enums import Channel, MessageKind, MessageStatus
from notifications.models import Message
from notifications.outbox.channels import list_failing_channels
from notifications.outbox.letters import (
    MOST_LETTERS,
    list_batch_of,
    list_letters_to_print,
    take_letters_to_print,
)
from notifications.outbox.queries import MessageFilter, count_failed, list_messages
from notifications.outbox.resending import send_again
from notifications.tasks import send_due_messages
from treatments.shared.labels import label
from treatments.shared.long_work import nudge

# A worker has it for a moment only; a person waits for it all the same.
STATUSES = [status for status in MessageStatus if status is not MessageStatus.LEASED]


class SearchForm(forms.Form):
    """What the page is narrowed to; a choice that does not exist leaves it open."""

    q = forms.CharField(label=gettext_lazy("Customer"), max_length=100, required=False)
    status = forms.ChoiceField(label=gettext_lazy("State"), required=False)
    kind = forms.ChoiceField(label=gettext_lazy("About"), required=False)
    channel = forms.ChoiceField(label=gettext_lazy("Sent by"), required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, words in (("status", STATUSES), ("kind", MessageKind), ("channel", Channel)):
            field = self.fields[name]
            assert isinstance(field, forms.ChoiceField)
            field.choices = [("", _("all")), *((word.value, label(word)) for word in words)]

    def read(self) -> MessageFilter:
        """Return the filter that was asked for."""
        self.is_valid()
        found = self.cleaned_data
        return MessageFilter(
            found.get("status", ""), found.get("kind", ""), found.get("channel", ""), found.get("q", "")
        )


class SendAgainForm(forms.Form):
    address = forms.CharField(label=gettext_lazy("Address"), max_length=254, required=False)


def read_notices(request: HttpRequest) -> dict[str, Any]:
    """Return what a first page tells of messages: how many failed and which server does, for those who can mend it."""
    if not may_open(get_user(request), "messages"):
        return {}
    failing = list_failing_channels()
    clock = {"clock": find_clock_of(request)} if failing else {}
    return {"failed_messages": count_failed(), "failing_channels": failing, **clock}


@open_to("messages")
@require_safe
def messages(request: HttpRequest) -> HttpResponse:
    """List messages, the newest first."""
    form = SearchForm(request.GET)
    wanted = form.read()
    rows, following = list_messages(wanted, before=read_whole(request.GET.get("before", ""), digits=17))
    query = {name: value for name, value in request.GET.items() if name in form.fields and value}
    context = {
        "form": form,
        "errors": list_errors(form),
        "rows": rows,
        "clock": find_clock_of(request),
        "narrowed": bool(query),
        "query": urlencode(query),
        "before": request.GET.get("before", ""),
        "following": urlencode({**query, "before": following}) if following else "",
        "failing_channels": list_failing_channels(),
        "letters": list_letters_to_print(now=timezone.now())[:MOST_LETTERS].count(),
    }
    return render(request, "messages/messages.html", context, status=400 if form.errors else 200)


@open_to("messages")
@require_POST
@shown_for(of_letters_to_print)
def print_letters(request: HttpRequest) -> HttpResponse:
    """Take the letters that wait as one batch and lead to where it is printed."""
    key = take_letters_to_print(actor=get_user(request), now=timezone.now())
    if not key:
        notes.info(request, _("No letter waits."))
        return redirect("desk:messages")
    return redirect("desk:letter_batch", key)


@open_to("messages")
@require_safe
def letter_batch(request: HttpRequest, key: int) -> HttpResponse:
    """Print all letters of the batch with which a letter was sent."""
    found = access_message(key)
    if found.channel != Channel.LETTER or found.status != MessageStatus.SENT:
        raise Http404(f"Message {key} is no letter that was printed.")
    content = render_letters([describe_message(letter) for letter in list_batch_of(found)])
    return answer_pdf(content, f"letters-{key}.pdf")


@open_to("messages")
@require_safe
def message(request: HttpRequest, key: int) -> HttpResponse:
    """Show one message: its text as it was sent, what became of it and why."""
    return _show(request, access_message(key))


@open_to("messages")
@require_POST
@shown_for(of_message)
def send_message_again(request: HttpRequest, key: int) -> HttpResponse:
    """Send a message again that failed, to the address that the form gives."""
    found, form = access_message(key), SendAgainForm(request.POST)
    if form.is_valid():
        try:
            address = form.cleaned_data["address"].strip()
            send_again(message=found, address=address, actor=get_user(request), now=timezone.now())
        except ValidationError as error:
            add_errors(form, error)
        else:
            nudge(send_due_messages)
            notes.success(request, _("The message is sent again."))
            return redirect("desk:message", key)
    return _show(request, found, form)


def _show(request: HttpRequest, found: Message, form: SendAgainForm | None = None) -> HttpResponse:
    context = {
        "message": found,
        "body": mask_links(found.body),
        "clock": find_clock_of(request),
        "may_send_again": found.status == MessageStatus.FAILED,
        "is_printed": found.channel == Channel.LETTER and found.status == MessageStatus.SENT,
        "has_address": found.channel != Channel.LETTER,
        "form": form or SendAgainForm(initial={"address": found.address}),
        "errors": list_errors(form) if form else [],
    }
    return render(request, "messages/message.html", context, status=400 if form else 200)
