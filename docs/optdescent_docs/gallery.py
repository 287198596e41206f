"""Figures that are drawn while the documentation is built, each beside the code that draws it."""

from __future__ import annotations

import os
from contextlib import chdir
from pathlib import Path
from typing import Any

from docutils import nodes
from docutils.parsers.rst import directives
from matplotlib.figure import Figure
from sphinx.util.docutils import SphinxDirective

from optdescent.figures import Format, save
from optdescent_docs.text import block

_NAMES = "optdescent_gallery"


class GalleryFigure(SphinxDirective):
    """A figure and its code: `gallery-figure` with a name; the code leaves the figure in `figure`.

    Names of one page are shared: what one figure computes, the next ones on the page may use.
    """

    required_arguments = 1
    has_content = True
    option_spec = {"alt": directives.unchanged_required}  # noqa: RUF012 - the form that docutils asks for

    def run(self) -> list[nodes.Node]:
        """The image, then the code.

        Raises
        ------
        Error
            The code leaves no figure, or the figure has no text for those who cannot see it.
        """
        source = "\n".join(self.content)
        names: dict[str, Any] = self.env.temp_data.get(_NAMES) or {}
        self.env.temp_data[_NAMES] = names
        with chdir(Path(self.env.srcdir).parent):  # paths of studies are written as from the top of the project
            exec(compile(source, f"{self.arguments[0]} in {self.env.docname}", "exec"), names)
        figure = names.pop("figure", None)
        if not isinstance(figure, Figure) or "alt" not in self.options:
            raise self.error(f"{self.arguments[0]}: no figure, or no alt")
        folder = Path(self.env.app.doctreedir) / "gallery"
        folder.mkdir(parents=True, exist_ok=True)
        (path,) = save(figure, folder, self.arguments[0], (Format.SVG,))
        here = Path(self.env.doc2path(self.env.docname)).parent
        uri = Path(os.path.relpath(path, here)).as_posix()
        image = nodes.image(uri=uri, alt=self.options["alt"], classes=["drawn"])
        return [image, block(source, "python")]
