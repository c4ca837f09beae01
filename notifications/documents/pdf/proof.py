"""What makes a paper one that people trust: a place to sign it, and a code by which anybody can have it checked."""

from collections.abc import Iterable, Sequence

import segno
from django.utils.translation import gettext as _
from reportlab.lib import colors
from reportlab.lib.units import mm
from reportlab.platypus import Flowable

from notifications.documents.pdf.parts import write
from notifications.documents.pdf.structure import TaggedCanvas, end_figure, start_figure
from notifications.documents.pdf.style import INK, SMALL


class QrCode(Flowable):  # type: ignore[misc]
    """A QR code (ISO/IEC 18004) of an address, drawn as vectors; ``title`` says what it leads to."""

    def __init__(self, address: str, size: float, title: str = "") -> None:
        super().__init__()
        self.matrix = list(segno.make(address, error="m", mask=QR_MASK).matrix_iter(border=2))
        self.width = self.height = size
        self.title = title

    def draw(self) -> None:
        canvas, step = self.canv, self.width / len(self.matrix)
        start_figure(canvas, self.title, self.width, self.height)
        canvas.saveState()
        canvas.setFillColor(colors.black)
        canvas.transform(step, 0, 0, step, 0, self.height)
        canvas._code += [
            f"{start} {-1 - number} {length} 1 re"
            for number, row in enumerate(self.matrix)
            for start, length in _list_runs(row)
        ]
        canvas._code.append("f")
        canvas.restoreState()
        end_figure(canvas)


# Readers take any of the eight; to weigh them all for each paper takes as long as drawing a page.
QR_MASK = 2


def describe_check(address: str) -> list[Flowable]:
    """Return the code that leads to where anybody can have a paper checked, and what it is for."""
    words = write(_("Is this paper genuine? Scan to check it."), SMALL)
    return [QrCode(address, 26 * mm, _("Code that leads to the check of this document")), words]


def _list_runs(row: Iterable[int]) -> list[tuple[int, int]]:
    """Return where dark modules begin and how many stand together."""
    runs: list[tuple[int, int]] = []
    for column, dark in enumerate(row):
        if dark and runs and sum(runs[-1]) == column:
            runs[-1] = (runs[-1][0], runs[-1][1] + 1)
        elif dark:
            runs.append((column, 1))
    return runs


class SignHere(Flowable):  # type: ignore[misc]
    """Lines to sign on, side by side, with what belongs on each below it."""

    def __init__(self, captions: Sequence[str]) -> None:
        super().__init__()
        self.captions = [write(caption, SMALL) for caption in captions]

    def wrap(self, availWidth: float, availHeight: float) -> tuple[float, float]:
        self.width = availWidth
        self.each = availWidth / len(self.captions)
        self.below = max(caption.wrap(self.each - 14, availHeight)[1] for caption in self.captions)
        self.height = ROOM_TO_SIGN + self.below
        return self.width, self.height

    def draw(self) -> None:
        canvas = self.canv
        for number, caption in enumerate(self.captions):
            x = number * self.each
            if isinstance(canvas, TaggedCanvas):
                with canvas.artifact():
                    self._draw_line(x)
            else:
                self._draw_line(x)
            caption.drawOn(canvas, x, self.below - caption.height)

    def _draw_line(self, x: float) -> None:
        self.canv.setStrokeColor(INK)
        self.canv.setLineWidth(0.6)
        self.canv.line(x, self.below + 2, x + self.each - 14, self.below + 2)


ROOM_TO_SIGN = 13 * mm
