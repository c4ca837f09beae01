"""Translates the texts of parts of pages when a part is compiled, once for each language, not at every writing.

Asking for a text takes six microseconds, and a page has a hundred; compiled, it is a constant like the markup by it.
"""

import re
from typing import Any

from django.utils import translation
from jinja2 import nodes
from jinja2.compiler import CodeGenerator
from jinja2.visitor import NodeTransformer

_GAP = re.compile(r"%\((\w+)\)s")


class TextWriter(CodeGenerator):
    """Compiles a part with its texts in ``environment.language``."""

    def visit_Template(self, node: nodes.Template, frame: Any = None) -> None:
        # The environment is made for one language, whoever's page asked for the part first.
        with translation.override(getattr(self.environment, "language")):  # noqa: B009
            _TextTranslator().visit(node)
        node.set_environment(self.environment)
        super().visit_Template(node, frame)


class _TextTranslator(NodeTransformer):
    """Puts in place of ``_("…")`` what it says: constants, and between them the values of its gaps."""

    def visit_Output(self, node: nodes.Output) -> nodes.Output:
        found: list[nodes.Expr] = []
        for child in node.nodes:
            parts = self._translate(child)
            found += [self.visit(child)] if parts is None else parts
        node.nodes = found
        return node

    def visit_Call(self, node: nodes.Call) -> nodes.Node:
        parts = self._translate(node)
        if parts is None:
            return self.generic_visit(node)
        return parts[0] if len(parts) == 1 else nodes.Concat(parts, lineno=node.lineno)

    def _translate(self, node: nodes.Node) -> list[nodes.Expr] | None:
        """Return what a text comes to, None for what is no text or would be an error when it is written."""
        if not (isinstance(node, nodes.Call) and isinstance(node.node, nodes.Name) and node.node.name == "_"):
            return None
        if len(node.args) != 1 or not isinstance(node.args[0], nodes.Const) or node.dyn_args or node.dyn_kwargs:
            return None
        given: dict[str, nodes.Expr] = {one.key: one.value for one in node.kwargs}
        # Literals and names of gaps in turn.
        pieces = _GAP.split(translation.gettext(node.args[0].value))
        if not given.keys() >= set(pieces[1::2]) or any("%" in piece.replace("%%", "") for piece in pieces[::2]):
            return None
        parts: list[nodes.Expr] = []
        for place, piece in enumerate(pieces):
            if place % 2:
                parts.append(self.visit(given[piece]))  # escaped as it is written, as every value is
            elif piece or len(pieces) == 1:
                parts.append(nodes.TemplateData(piece.replace("%%", "%"), lineno=node.lineno))
        return parts
