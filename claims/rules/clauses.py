"""What the clauses of the terms are called in words, for the findings that rest on them.

A finding names its clause by the field of the terms document, which is for machines; people read these words.
"""

CLAUSE_WORDS: dict[str, str] = {
    "length_months": "how long the cover runs and what it hangs on",
    "distance_limit_km": "the distance limit",
    "entry": "which vehicles may enter the cover",
    "reinspection": "reinspections",
    "touch_ups": "touch-ups",
    "claims.damage_covered": "the kinds of damage covered",
    "claims.excluded_zones": "the zones left out of the cover",
    "claims.notice_days": "the time in which damage must be reported",
}


def say_clause(clause: str) -> str:
    """Return a clause of the terms as a person reads it."""
    return CLAUSE_WORDS.get(clause, clause.rpartition(".")[2].replace("_", " "))
