"""A decision before it is made, and its letter in the language of who gets it."""

import hashlib
import json
from dataclasses import dataclass

from django.utils.translation import override

from claims.models import ClaimDecision
from claims.rules.letter import Letter
from treatments.reference.queries import map_zone_names
from treatments.rules.explanation import to_json
from treatments.shared.rendering import render_all


@dataclass(frozen=True, slots=True)
class DecisionDraft:
    """A decision as it would be made; nothing is written.

    Attributes:
        decision: not saved, with the letter as text.
        letter: the same as code and parameters.
        language: that of the letter's receiver.
    """

    decision: ClaimDecision
    letter: Letter
    language: str

    def compute_sha256(self) -> str:
        """Return a SHA-256 over all that the decision says, by which it is known again as the one that was shown.

        It rests on the letter's codes and parameters, so that another wording of a text changes nothing.
        """
        made = self.decision
        told = [made.claim_id, made.kind, made.amount, made.currency, made.reason, made.recommended]
        told += [made.recommended_amount, made.needs_second, made.decided_on, self.language]
        letter = [[[to_json(one) for one in line] for line in paragraph] for paragraph in self.letter]
        return hashlib.sha256(json.dumps([[str(value) for value in told], letter], sort_keys=True).encode()).hexdigest()


def render_letter(letter: Letter, language: str) -> str:
    """Return a letter as text, its paragraphs parted by an empty line."""
    names = map_zone_names()
    with override(language):
        return "\n\n".join("\n".join(render_all(line, names) for line in paragraph) for paragraph in letter)
