"""Pages of the documentation made from the project itself: keys, commands, names, columns, figures, studies, rules."""

from __future__ import annotations

from sphinx.application import Sphinx
from sphinx.util.typing import ExtensionMetadata

from optdescent.caution import CAUTION
from optdescent_docs.columns import ColumnsDirective, QuantitiesDirective, UnitsDirective
from optdescent_docs.commands import CommandsDirective
from optdescent_docs.formula import block_formula, inline_formula
from optdescent_docs.gallery import GalleryFigure
from optdescent_docs.keys import KeysDirective
from optdescent_docs.library import LibraryDirective
from optdescent_docs.names import NamesDirective, RoomsDirective
from optdescent_docs.notebook import NotebookDirective
from optdescent_docs.studies import StudiesDirective

__all__ = ["setup"]


def setup(app: Sphinx) -> ExtensionMetadata:
    """Add the directives, the formulas as MathML and the caution to a build."""
    app.add_html_math_renderer("mathml", (inline_formula, None), (block_formula, None))
    app.add_directive("declared-keys", KeysDirective)
    app.add_directive("commands", CommandsDirective)
    app.add_directive("columns", ColumnsDirective)
    app.add_directive("units", UnitsDirective)
    app.add_directive("recorded-quantities", QuantitiesDirective)
    app.add_directive("public-names", NamesDirective)
    app.add_directive("rooms", RoomsDirective)
    app.add_directive("gallery-figure", GalleryFigure)
    app.add_directive("notebook-cells", NotebookDirective)
    app.add_directive("studies", StudiesDirective)
    app.add_directive("library", LibraryDirective)
    app.connect("html-page-context", lambda _app, _page, _template, context, _doctree: context.update(caution=CAUTION))
    return {"version": "1", "parallel_read_safe": False, "parallel_write_safe": True}
