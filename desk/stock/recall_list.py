"""The recall list as a CSV file: every visit on which material was used, with the owner to be told.

Rows are written as they are read, so that a long list needs no more memory than a short one. No cell can start a
formula when the file is opened in a spreadsheet.
"""

import csv
import io
from collections.abc import Iterable, Iterator

from django.http import StreamingHttpResponse
from django.utils.translation import gettext as _

from treatments.log_import.rules.text import make_harmless
from treatments.stock.use_queries import Use

MARK_OF_UTF_8 = "\ufeff"


def list_headings() -> list[str]:
    """Return the headings of the columns."""
    return [
        _("VIN"),
        _("Plate"),
        _("Vehicle"),
        _("Used on"),
        _("Site"),
        _("Material"),
        _("Zones"),
        _("Owner"),
        _("E-mail"),
        _("Telephone"),
        _("Contact as entered"),
    ]


def describe_use(use: Use) -> list[str]:
    """Return one row, each cell harmless."""
    owner = use.owner
    cells = [
        use.vin,
        use.plate,
        use.description,
        use.done_on.isoformat(),
        use.site_name,
        "; ".join(use.materials),
        "; ".join(use.zone_names),
        owner.name if owner else "",
        owner.email if owner else "",
        owner.phone if owner else "",
        owner.contact if owner else "",
    ]
    return [make_harmless(cell) for cell in cells]


def write_rows(uses: Iterable[Use]) -> Iterator[str]:
    """Yield the file line by line, headings first."""
    buffer = io.StringIO()
    writer = csv.writer(buffer)
    writer.writerow(list_headings())
    yield MARK_OF_UTF_8 + buffer.getvalue()
    for use in uses:
        buffer.seek(0)
        buffer.truncate()
        writer.writerow(describe_use(use))
        yield buffer.getvalue()


def answer_recall_list(uses: Iterable[Use], name: str) -> StreamingHttpResponse:
    """Return the file as a download."""
    response = StreamingHttpResponse(write_rows(uses), content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    response["Cache-Control"] = "no-store"
    return response
