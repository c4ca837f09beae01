"""Labels of our closed lists and names of the catalogue, in the language in use.

A label's English stands in its app's ``labels.py``. What a shop wrote itself is in no catalogue and stays as it is.
"""

from functools import cache
from importlib import import_module
from typing import Any

from django.apps import apps
from django.utils.functional import lazy
from django.utils.module_loading import module_has_submodule
from django.utils.translation import ngettext, npgettext, pgettext

from treatments.rules.wording import is_counted, make_plural

# Contexts in django.po: pages have the same words with another gender. tests.french.catalogues collects both.
LABEL, CATALOGUE = "label", "catalogue"


def collect_texts(module: str, name: str) -> dict[str, Any]:
    """Return what every app declares under a name in its module of texts.

    Raises:
        ValueError: where two apps declare the same key.
    """
    found: dict[str, Any] = {}
    for app in apps.get_app_configs():
        if app.module is not None and module_has_submodule(app.module, module):
            texts = getattr(import_module(f"{app.name}.{module}"), name)
            twice = found.keys() & texts.keys()
            if twice:
                raise ValueError(f"{app.name}.{module} has keys of another app: {', '.join(sorted(twice))}.")
            found |= texts
    return found


@cache
def read_labels() -> dict[str, str]:
    """Return the English label of every word of every app."""
    return collect_texts("labels", "LABELS")


def label(word: str) -> str:
    """Return a word of a closed list as a person reads it; one without a label, such as C3, stays."""
    text = read_labels().get(word)
    return pgettext(LABEL, text) if text else word


# For choices of columns and fields, which are put into the language of whoever looks at them.
label_lazy = lazy(label, str)


def translate_catalogue(text: str) -> str:
    """Return a zone's name, a way in or a caution of the catalogue that we ship, in the language in use."""
    return pgettext(CATALOGUE, text) if text else text


def count_access(access: str, count: int | None) -> str:
    """Return a way into a zone with how many there are of it, in the language in use."""
    if not count or (count == 1 and not is_counted(access)):
        return translate_catalogue(access)
    if not is_counted(access):
        places = {"access": translate_catalogue(access), "count": count}
        return ngettext("%(access)s (%(count)s place)", "%(access)s (%(count)s places)", count) % places
    return npgettext(CATALOGUE, *name_access_counts(access), count) % {"count": count}


def name_access_counts(access: str) -> tuple[str, str]:
    """Return the msgids of a counted way into a zone, for one and for several."""
    plain = access.replace("%", "%%")
    return f"%(count)s {plain}", f"%(count)s {make_plural(plain)}"
