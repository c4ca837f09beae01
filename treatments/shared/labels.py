"""Labels of our closed lists and names of the catalogue, in the language in use.

A label's English stands in its app's ``labels.py``. What a shop wrote itself is in no catalogue and stays as it is.
"""

from collections.abc import Mapping
from functools import cache
from importlib import import_module

from django.apps import apps
from django.utils.functional import lazy
from django.utils.module_loading import module_has_submodule
from django.utils.translation import ngettext, npgettext, pgettext

from treatments.rules.wording import is_counted, make_plural

# Contexts in django.po: pages have the same words with another gender. tests.french.catalogues collects both.
LABEL, CATALOGUE = "label", "catalogue"


@cache
def read_labels() -> dict[str, str]:
    """Return the English label of every word of every app."""
    found: dict[str, str] = {}
    for app in apps.get_app_configs():
        if app.module is not None and module_has_submodule(app.module, "labels"):
            labels = import_module(f"{app.name}.labels").LABELS
            twice = found.keys() & labels.keys()
            if twice:
                raise ValueError(f"{app.name}.labels has words of another app: {', '.join(sorted(twice))}.")
            found |= labels
    return found


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


def translate_zone_names(names: Mapping[str, str]) -> dict[str, str]:
    """Return the names of zones by code in the language in use."""
    return {code: translate_catalogue(name) for code, name in names.items()}
