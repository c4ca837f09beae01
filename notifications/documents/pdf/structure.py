"""The structure tree of a tagged PDF (ISO 32000-1, 14.7 and 14.8), which ReportLab does not write by itself.

Flowables open elements and mark what they draw; whatever is drawn outside a mark must be an artifact.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from reportlab.lib.colors import Color
from reportlab.pdfbase import pdfdoc
from reportlab.pdfgen.canvas import Canvas
from reportlab.pdfgen.textobject import PDFTextObject


class Accent(Color):  # type: ignore[misc]
    """The colour of the shop whose document it is; the canvas knows which that is."""


# A cell, and the text of an item of a list, hold their text themselves where it is one paragraph.
HOLDS_TEXT = frozenset({"TD", "TH", "LBody"})


class Element:
    """One element; its kids are elements and marked contents, the latter as page and number."""

    __slots__ = ("attributes", "kids", "number", "parent", "tag")

    def __init__(self, tag: str, parent: "Element | None", attributes: str = "") -> None:
        self.tag = tag
        self.parent = parent
        self.attributes = attributes
        self.kids: list[Element | tuple[int, int]] = []
        self.number = 0


class _Raw(pdfdoc.PDFObject):  # type: ignore[misc]
    """An object whose bytes are known."""

    __RefOnly__ = 1

    def __init__(self) -> None:
        self.written = b""

    def format(self, document: Any) -> bytes:
        return self.written


class _AccentedText(PDFTextObject):  # type: ignore[misc]
    """Text that is drawn in the shop's colour where ``ACCENT`` was asked for."""

    def setFillColor(self, aColor: Any, alpha: Any = None) -> None:
        super().setFillColor(self._canvas.resolve(aColor), alpha)


class TaggedCanvas(Canvas):  # type: ignore[misc]
    """A canvas that keeps a structure tree and draws the foot of each page once the number of pages is known.

    Attributes:
        accent: the shop's colour, which stands wherever ``ACCENT`` was asked for.
        draw_foot: called with the canvas, the page's number and the number of pages; what it draws is an artifact.
    """

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        self.root = Element("Document", None)
        self.open_element = self.root
        self.marked: list[list[Element]] = [[]]
        self.pages: list[Any] = []
        self.accent: Any = None
        self.draw_foot: Any = None
        self._code: list[str] = []
        super().__init__(*args, **kwargs)

    def resolve(self, color: Any) -> Any:
        """Return a colour, the shop's own in the place of ``ACCENT``."""
        return self.accent if self.accent is not None and isinstance(color, Accent) else color

    def setFillColor(self, aColor: Any, alpha: Any = None) -> None:
        super().setFillColor(self.resolve(aColor), alpha)

    def setStrokeColor(self, aColor: Any, alpha: Any = None) -> None:
        super().setStrokeColor(self.resolve(aColor), alpha)

    def beginText(self, x: float = 0, y: float = 0, direction: Any = None) -> PDFTextObject:
        return _AccentedText(self, x, y, direction=direction)

    def _setAnnotations(self, page: Any) -> None:
        super()._setAnnotations(page)
        page.__NoDefault__ = [*pdfdoc.PDFPage.__NoDefault__, "StructParents", "Tabs"]
        page.StructParents, page.Tabs = len(self.pages), pdfdoc.PDFName("S")
        self.pages.append(page)
        self.marked.append([])

    def start(self, tag: str, attributes: str = "") -> Element:
        """Open an element in the open one; ``attributes`` as PDF writes them."""
        element = Element(tag, self.open_element, attributes)
        self.open_element.kids.append(element)
        self.open_element = element
        return element

    def reopen(self, element: Element) -> None:
        """Go on in an element that began on an earlier page."""
        self.open_element = element

    def end(self) -> None:
        """Close the open element."""
        self.open_element = self.open_element.parent or self.root

    def mark(self, element: Element) -> None:
        """Begin content of an element; ``end_mark`` ends it. Contents of elements are never inside one another."""
        on_page = self.marked[-1]
        element.kids.append((len(self.pages), len(on_page)))
        self._code.append(f"/{element.tag} <</MCID {len(on_page)}>> BDC")
        on_page.append(element)

    def end_mark(self) -> None:
        self._code.append("EMC")

    @contextmanager
    def artifact(self) -> Iterator[None]:
        """Mark what says nothing to a listener: rules, backgrounds, the foot of a page."""
        self._code.append("/Artifact BMC")
        yield
        self._code.append("EMC")

    def save(self) -> None:
        if len(self._code):
            self.showPage()
        for number, page in enumerate(self.pages, start=1):
            if self.draw_foot is None:
                break
            self._code = []
            self.init_graphics_state()
            with self.artifact():
                self.saveState()
                self.draw_foot(self, number, len(self.pages))
                self.restoreState()
            page.stream = page.stream + "\n".join(self._code) + "\n"
            self._code = []
        self._write_tree()
        super().save()

    def _write_tree(self) -> None:
        document = self._doc
        tree, parents = _Raw(), _Raw()
        tree_number, parents_number = self._give_number(tree), self._give_number(parents)
        elements: list[tuple[Element, _Raw]] = []
        waiting = [self.root]
        while waiting:
            element = waiting.pop()
            raw = _Raw()
            element.number = self._give_number(raw)
            elements.append((element, raw))
            waiting += [kid for kid in reversed(element.kids) if isinstance(kid, Element)]
        numbers = [document.idToObjectNumberAndVersion[page.__InternalName__][0] for page in self.pages]
        for element, raw in elements:
            parent = element.parent.number if element.parent else tree_number
            first = next((kid[0] for kid in element.kids if isinstance(kid, tuple)), None)
            kids = " ".join([_write_kid(kid, first, numbers) for kid in element.kids])
            page = "" if first is None else f" /Pg {numbers[first]} 0 R"
            written = f"<</S /{element.tag} /P {parent} 0 R /K [{kids}]{page}{element.attributes}>>"
            raw.written = written.encode("latin-1")
        tree.written = f"<</Type /StructTreeRoot /K {self.root.number} 0 R /ParentTree {parents_number} 0 R>>".encode()
        rows = [
            f"{page} [{' '.join(f'{element.number} 0 R' for element in marked)}]"
            for page, marked in enumerate(self.marked[: len(self.pages)])
        ]
        parents.written = f"<</Nums [{' '.join(rows)}]>>".encode()
        document.Catalog.StructTreeRoot = tree
        document.Catalog.MarkInfo = pdfdoc.PDFDictionary({"Marked": "true"})

    def _give_number(self, raw: _Raw) -> int:
        self._doc.Reference(raw)
        return int(self._doc.objectcounter)


def _write_kid(kid: "Element | tuple[int, int]", page: int | None, numbers: list[int]) -> str:
    if isinstance(kid, Element):
        return f"{kid.number} 0 R"
    if kid[0] == page:
        return str(kid[1])
    return f"<</Type /MCR /Pg {numbers[kid[0]]} 0 R /MCID {kid[1]}>>"


def write_text(text: str) -> str:
    """Return a text as a string of PDF, whatever its letters."""
    return f"<{chr(0xFEFF).encode('utf-16-be').hex()}{text.encode('utf-16-be').hex()}>"


def start_figure(canvas: Any, title: str, width: float, height: float) -> None:
    """Begin a picture: ``title`` is what a listener hears; without one it is an artifact."""
    if not isinstance(canvas, TaggedCanvas):
        return
    if not title:
        canvas._code.append("/Artifact BMC")
        return
    x, y = canvas.absolutePosition(0, 0)
    box = f"{x:.1f} {y:.1f} {x + width:.1f} {y + height:.1f}"
    figure = canvas.start("Figure", f" /Alt {write_text(title)} /A <</O /Layout /BBox [{box}]>>")
    canvas.mark(figure)
    canvas.end()


def end_figure(canvas: Any) -> None:
    """End a picture."""
    if isinstance(canvas, TaggedCanvas):
        canvas.end_mark()
