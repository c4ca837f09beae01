"""Keeps the apps' ``django.po`` and ``django.mo`` up to their pages, forms and mails; needs no GNU gettext.

``python -m tests.french.catalogues`` adds new texts to each ``django.po`` without a translation, takes out those that
are gone, compiles what has one, and lists what has none.
"""

import io
import tomllib
from collections.abc import Iterator
from datetime import UTC, datetime
from importlib import import_module
from pathlib import Path
from typing import Any

from babel.messages import Catalog
from babel.messages.extract import DEFAULT_KEYWORDS, extract
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po
from django.conf import settings
from jinja2.ext import babel_extract

from treatments.rules.wording import is_counted
from treatments.shared.labels import CATALOGUE, LABEL, name_access_counts

ROOT = Path(__file__).resolve().parents[2]
APPS = ("treatments", "scheduling", "claims", "notifications", "desk")
LANGUAGE = "fr"
# A catalogue changes only where its texts do.
SAME_DAY = datetime(2026, 11, 26, tzinfo=UTC)
KEYWORDS = {
    **DEFAULT_KEYWORDS,
    "_t": None,
    "gettext_lazy": None,
    "gettext_noop": None,
    "ngettext_noop": (1, 2),
    "_lazy": None,
    "ngettext_lazy": (1, 2),
    "pgettext_lazy": ((1, "c"), 2),
}


def extract_texts(app: str) -> Catalog:
    """Return every text that an app marks for translation in its code and templates."""
    if not settings.configured:
        settings.configure()
    from django.utils.translation.template import templatize

    found = Catalog(locale=LANGUAGE, domain="django")
    for path in sorted((ROOT / app).rglob("*")):
        if path.suffix not in (".py", ".html", ".txt") or "locale" in path.parts:
            continue
        text = path.read_text(encoding="utf-8")
        if app == "desk" and path.suffix == ".html":
            options = {"newstyle_gettext": "true"}
            found_here = babel_extract(io.BytesIO(text.encode()), KEYWORDS, (), options)
            for line, function, message, comments in found_here:
                ids = message if isinstance(message, tuple) else (message,)
                text_id = tuple(one for one in ids[:2] if one) if function == "ngettext" else ids[0]
                place = path.relative_to(ROOT).as_posix()
                found.add(text_id, None, [(place, line)], auto_comments=comments)
            continue
        if path.suffix != ".py":
            # What is left of a template is indented as no module is.
            text = "\n".join(line.lstrip() for line in templatize(text).split("\n"))
        for line, text_id, comments, context in extract(
            "babel.messages.extract:extract_python", io.BytesIO(text.encode()), KEYWORDS
        ):
            place = path.relative_to(ROOT).as_posix()
            found.add(text_id, None, [(place, line)], auto_comments=comments, context=context)
    if (ROOT / app / "labels.py").exists():
        for text in import_module(f"{app}.labels").LABELS.values():
            found.add(text, context=LABEL)
    if app == "treatments":
        for text in read_catalogue_texts():
            found.add(text, context=CATALOGUE)
        for access in read_accesses():
            if is_counted(access):
                found.add(name_access_counts(access), context=CATALOGUE)
    return found


def read_catalogue_texts() -> Iterator[str]:
    """Yield what the catalogue of zones says in words: names, ways in, cautions and what to guard."""
    for zone in _read_zones():
        yield zone["name"]
        yield from zone.get("cautions", ())
        yield from zone.get("to_guard", ())
    yield from read_accesses()


def read_accesses() -> Iterator[str]:
    """Yield the ways into the zones of the catalogue."""
    for zone in _read_zones():
        yield from (point["name"] for point in zone.get("access_points", ()))


def _read_zones() -> list[dict[str, Any]]:
    with (ROOT / "fixtures" / "zones.toml").open("rb") as file:
        zones: list[dict[str, Any]] = tomllib.load(file)["zone"]
    return zones


def find_po(app: str) -> Path:
    return ROOT / app / "locale" / LANGUAGE / "LC_MESSAGES" / "django.po"


def read_kept(app: str) -> Catalog:
    """Return what is translated of an app's texts."""
    path = find_po(app)
    if not path.exists():
        return Catalog(locale=LANGUAGE, domain="django")
    with path.open("rb") as file:
        return read_po(file, locale=LANGUAGE, domain="django")


def compile_kept(kept: Catalog) -> bytes:
    """Return a catalogue as a machine reads it, without the lines of its head that change with the day."""
    plain = Catalog(locale=LANGUAGE, domain="django", fuzzy=False)
    for message in kept:
        if message.id and not message.fuzzy and _has_all_forms(message.string):
            plain.add(message.id, message.string, flags=message.flags, context=message.context)
    plain.creation_date = plain.revision_date = SAME_DAY
    written = io.BytesIO()
    write_mo(written, plain)
    return written.getvalue()


def list_missing(app: str) -> Iterator[str]:
    """Yield the texts of an app that have no translation, and those kept that the app no longer has."""
    wanted, kept = extract_texts(app), read_kept(app)
    for message in wanted:
        if message.id:
            told = kept.get(_find_id(message.id), message.context)
            if told is None or told.fuzzy or not _has_all_forms(told.string):
                yield f"{app}: no French for {message.id!r}"
    for message in kept:
        if message.id and wanted.get(_find_id(message.id), message.context) is None:
            yield f"{app}: nobody says {message.id!r} any more"


def _find_id(text_id: object) -> str:
    return text_id if isinstance(text_id, str) else text_id[0]  # type: ignore[index,no-any-return]


def _has_all_forms(string: object) -> bool:
    return bool(string) if isinstance(string, str) else bool(string) and all(string)  # type: ignore[call-overload]


def renew(app: str) -> None:
    """Write an app's ``django.po`` and ``django.mo`` anew."""
    wanted, kept = extract_texts(app), read_kept(app)
    if not any(message.id for message in wanted):
        return
    fresh = Catalog(
        locale=LANGUAGE,
        domain="django",
        fuzzy=False,
        header_comment=f"# French of the pages, forms and mails of {app}.",
    )
    for message in wanted:
        if message.id:
            told = kept.get(_find_id(message.id), message.context)
            fresh.add(message.id, told.string if told else None, flags=message.flags, context=message.context)
    fresh.creation_date = fresh.revision_date = SAME_DAY
    path = find_po(app)
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("wb") as file:
        write_po(file, fresh, width=120, no_location=True)
    path.with_suffix(".mo").write_bytes(compile_kept(fresh))


def main() -> None:
    for app in APPS:
        renew(app)
        for line in list_missing(app):
            print(line)  # noqa: T201


if __name__ == "__main__":
    main()
