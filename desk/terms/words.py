"""The counts of a preview in the words that the command and the pages share.

Only what is not nought is told, after how many were compared at all.
"""

from django.utils.translation import gettext as _

from claims.reports.terms_preview import ClaimsPreview
from scheduling.terms.preview import CoversPreview
from scheduling.terms.rules.terms import Terms
from scheduling.terms.rules.terms_effects import EFFECT_WORDS


def name_chosen(terms: Terms, *, instead_of: str, every: bool) -> str:
    """Return which covers a preview is about."""
    if every:
        return _("every cover")
    return _("the covers under %(code)s") % {"code": instead_of or terms.code}


def count_covers(preview: CoversPreview) -> list[tuple[str, int]]:
    """Return the lines of the summary that speak of covers."""
    lines = [(_("covers compared"), preview.covers), (_("of them would be different in some way"), preview.changed)]
    lines += [(_(EFFECT_WORDS[kind]), count) for kind, count in preview.counts if count]
    if preview.failed:
        lines.append((_("further, which can't be computed"), len(preview.failed)))
    if preview.unread:
        lines.append((_("further covers were not read"), preview.unread))
    return lines


def count_claims(preview: ClaimsPreview) -> list[tuple[str, int]]:
    """Return the lines of the summary that speak of claims."""
    lines = [
        (_("claims on file compared"), preview.claims),
        (_("of them would come out differently"), preview.come_out_differently),
    ]
    if preview.answered_differently:
        lines.append((_("would come to the same, though a rule answers differently"), preview.answered_differently))
    if preview.failed:
        lines.append((_("further, which can't be computed"), len(preview.failed)))
    if preview.unread:
        lines.append((_("further claims were not read"), preview.unread))
    return lines
