"""Plurals of English nouns: for the commands at the shell, and for the names of ways into a zone."""

_PREPOSITIONS = frozenset(
    (
        "above",
        "at",
        "behind",
        "below",
        "beside",
        "from",
        "in",
        "inside",
        "near",
        "of",
        "on",
        "over",
        "through",
        "to",
        "under",
    )
)
_S_WITH_E = ("s", "x", "z", "ch", "sh")


def make_plural(noun: str) -> str:
    """Return the plural of an English noun with what follows it: "plug under the sill" gives "plugs under the sill"."""
    words = noun.split(" ")
    place = next((number for number, word in enumerate(words) if word in _PREPOSITIONS), len(words)) - 1
    head = words[max(place, 0)]
    if head.endswith("y") and head[-2:-1] not in "aeiou":
        head = f"{head[:-1]}ies"
    else:
        head += "es" if head.endswith(_S_WITH_E) else "s"
    return " ".join([*words[: max(place, 0)], head, *words[max(place, 0) + 1 :]])


def format_count(count: int, noun: str) -> str:
    """Return a number with its noun: 1 zone, 14 zones, 2 openings in the frame."""
    return f"{count} {noun if count == 1 else make_plural(noun)}"


def is_counted(access: str) -> bool:
    """Say whether a way into a zone is a thing to be counted; "open" and "behind the liner" are not."""
    return access.split(" ")[0].strip(",") not in _PREPOSITIONS and access.split(",")[0] != "open"
