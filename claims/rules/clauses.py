"""The clauses of the terms that findings and sums rest on, as people read them.

A finding names its clause by the field of the terms document, which is for machines.
"""

from treatments.rules.explanation import Explanation, explain


def explain_clause(clause: str) -> Explanation:
    """Return a clause of the terms as a person reads it."""
    return explain(f"clause.{clause}")
