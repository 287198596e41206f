"""The cells of a notebook as a page: text and code, no outputs."""

from __future__ import annotations

import json
from pathlib import Path

from docutils import nodes
from sphinx.util.docutils import SphinxDirective

from optdescent_docs.text import block


class NotebookDirective(SphinxDirective):
    """Every cell of a notebook: `notebook-cells` with its path beside the page; its title is left out."""

    required_arguments = 1

    def run(self) -> list[nodes.Node]:
        """Markdown as the page's own, code as blocks."""
        path = Path(self.env.doc2path(self.env.docname)).parent / self.arguments[0]
        self.env.note_dependency(path)
        found: list[nodes.Node] = []
        for cell in json.loads(path.read_text(encoding="utf-8"))["cells"]:
            source = "".join(cell["source"])
            if cell["cell_type"] == "code":
                found.append(block(source, "python"))
            else:
                text = source.split("\n", 1)[-1] if source.startswith("# ") else source
                found += self.parse_text_to_nodes(text)
        return found
