"""The counts of a preview in the words that the command and the pages share.

Only what is not nought is told, after how many were compared at all.
"""

from claims.reports.terms_preview import ClaimsPreview
from scheduling.terms.preview import CoversPreview
from scheduling.terms.rules.terms import Terms
from scheduling.terms.rules.terms_effects import EFFECT_WORDS


def say_chosen(terms: Terms, *, instead_of: str, every: bool) -> str:
    """Return which covers a preview is about."""
    return "every cover" if every else f"the covers under {instead_of or terms.code}"


def count_covers(preview: CoversPreview) -> list[tuple[str, int]]:
    """Return the lines of the summary that speak of covers."""
    lines = [("covers compared", preview.covers), ("of them would be different in some way", preview.changed)]
    lines += [(f"{EFFECT_WORDS[kind]}", count) for kind, count in preview.counts if count]
    if preview.failed:
        lines.append(("further, which can't be computed", len(preview.failed)))
    if preview.unread:
        lines.append(("further covers were not read", preview.unread))
    return lines


def count_claims(preview: ClaimsPreview) -> list[tuple[str, int]]:
    """Return the lines of the summary that speak of claims."""
    lines = [
        ("claims on file compared", preview.claims),
        ("of them would come out differently", preview.come_out_differently),
    ]
    if preview.answered_differently:
        lines.append(("would come to the same, though a rule answers differently", preview.answered_differently))
    if preview.failed:
        lines.append(("further, which can't be computed", len(preview.failed)))
    if preview.unread:
        lines.append(("further claims were not read", preview.unread))
    return lines
