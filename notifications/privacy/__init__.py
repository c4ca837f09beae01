"""One person's data: a register of what is held, all of it handed out on request, erased where nothing needs it.

Privacy law decides what may be kept and how long; this program shows what it holds, does what it is told to and says
what it kept and why.
"""

from notifications.privacy.erasing import Erasure, ErasureOrder, erase_person, plan_erasure
from notifications.privacy.export import export_person
from notifications.privacy.people import find_reasons_to_keep, list_covers_of
from notifications.privacy.retention import erase_what_is_old, find_people_to_let_go

__all__ = [
    "Erasure",
    "ErasureOrder",
    "erase_person",
    "erase_what_is_old",
    "export_person",
    "find_people_to_let_go",
    "find_reasons_to_keep",
    "list_covers_of",
    "plan_erasure",
]
