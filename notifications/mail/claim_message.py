"""Puts what a customer is told of a claim into a message: that it arrived, what is still needed, what was decided."""

from collections.abc import Sequence
from datetime import date

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from claims.models import Claim
from notifications.customer_page.links import make_stop_address
from notifications.enums import MessageKind
from notifications.languages import written_for
from notifications.mail.content import Button, Fact, MailContent
from notifications.mail.letterhead import read_letterhead
from notifications.mail.wording import render_greeting, render_if_stopped, render_stop_label, render_ways_to_reach
from treatments.models import Customer
from treatments.shared.rendering import render_day

SUBJECTS: dict[MessageKind, str | Promise] = {
    MessageKind.CLAIM_RECEIVED: gettext_lazy("We have your claim %(number)s: %(vehicle)s"),
    MessageKind.CLAIM_NEEDS: gettext_lazy("We need something from you for claim %(number)s: %(vehicle)s"),
    MessageKind.CLAIM_DECIDED: gettext_lazy("Your claim %(number)s is decided: %(vehicle)s"),
}
OPENINGS: dict[MessageKind, str | Promise] = {
    MessageKind.CLAIM_RECEIVED: gettext_lazy(
        "Thank you for telling us about rust on your %(vehicle)s. We will look at your claim and write to you."
    ),
    MessageKind.CLAIM_NEEDS: gettext_lazy(
        "We are working on your claim for your %(vehicle)s. To go on we need from you:"
    ),
    MessageKind.CLAIM_DECIDED: gettext_lazy(
        "We have decided on your claim for your %(vehicle)s. This is the decision, with our reasons."
    ),
}
SHORT: dict[MessageKind, str | Promise] = {
    MessageKind.CLAIM_RECEIVED: gettext_lazy("We have your claim %(number)s for your %(vehicle)s."),
    MessageKind.CLAIM_NEEDS: gettext_lazy("We need something from you for claim %(number)s, your %(vehicle)s."),
    MessageKind.CLAIM_DECIDED: gettext_lazy("Your claim %(number)s for your %(vehicle)s is decided."),
}


def write_claim_message(
    kind: MessageKind,
    claim: Claim,
    receiver: Customer,
    url: str,
    *,
    needs: Sequence[str] = (),
    letter: str = "",
    answer_by: date | None = None,
) -> MailContent:
    """Return what a customer is told of a claim, in the customer's language.

    Args:
        claim: with its cover, vehicle and site loaded.
        url: the customer's page of the claim, or of the vehicle.
        needs: what the shop still needs, each in a few words.
        letter: the letter of the decision as it stands on record, its paragraphs parted by an empty line.
        answer_by: the day by which the shop decides; None: no term sets one, or it waits for the customer.
    """
    cover = claim.cover
    with written_for(receiver, cover.site) as language:
        vehicle = " ".join(cover.vehicle.description.split()) or _("vehicle")
        told = {"number": claim.number, "vehicle": vehicle}
        paragraphs = [str(OPENINGS[kind]) % told]
        if needs:
            paragraphs.append("\n".join(f"– {need}" for need in needs))
            paragraphs.append(_("As soon as we have it, we go on."))
        paragraphs += [paragraph for paragraph in letter.split("\n\n") if paragraph.strip()]
        facts = [
            Fact(_("Claim"), claim.number),
            Fact(_("Vehicle"), f"{vehicle}, {cover.vehicle.plate}" if cover.vehicle.plate else vehicle),
            Fact(_("Reported on"), render_day(claim.reported_on)),
        ]
        if answer_by is not None:
            facts.append(Fact(_("We answer by"), render_day(answer_by)))
        return MailContent(
            language=language,
            subject=str(SUBJECTS[kind]) % told,
            greeting=render_greeting(receiver.name),
            short=str(SHORT[kind]) % told,
            letterhead=read_letterhead(cover.site),
            stop=Button(render_stop_label(), make_stop_address(receiver)),
            paragraphs=tuple(paragraphs),
            facts=tuple(facts),
            buttons=(Button(_("See your claim"), url),),
            reach=render_ways_to_reach(cover.site),
            why=_("You get this because of a claim on your cover with %(shop)s.") % {"shop": cover.site.name},
            if_stopped=render_if_stopped(),
        )
