"""How the documentation is built: `sphinx-build -W -n -b html docs OUT`."""

from __future__ import annotations

import sys
from importlib.metadata import version as version_of
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
sys.path.append(str(Path(__file__).parents[1]))  # the studies stand beside the package

project = "optdescent"
author = "The optdescent authors"
project_copyright = author
version = release = version_of("optdescent")

extensions = ["myst_parser", "optdescent_docs"]
source_suffix = {".md": "markdown"}
exclude_patterns = ["optdescent_docs", "**/README.md"]
nitpicky = True

# $…$ and $$…$$ are formulas
myst_enable_extensions = ["dollarmath"]
myst_heading_anchors = 3

html_theme = "alabaster"
html_title = f"optdescent {version}"
html_math_renderer = "mathml"
html_static_path = ["static"]
templates_path = ["templates"]
html_copy_source = False
html_show_sourcelink = False
html_show_sphinx = False
smartquotes = False
pygments_style = "sphinx"
html_sidebars = {"**": ["about.html", "searchbox.html", "navigation.html"]}
html_theme_options = {
    "description": "Minimum-fuel descents, and how far rules of thumb can be trusted",
    "fixed_sidebar": False,
    "page_width": "1120px",
    "sidebar_width": "230px",
    "show_powered_by": False,
    "show_relbar_bottom": True,
    "font_family": "Charter, 'Bitstream Charter', Georgia, serif",
    "head_font_family": "system-ui, 'DejaVu Sans', Helvetica, Arial, sans-serif",
    "code_font_family": "'DejaVu Sans Mono', Menlo, Consolas, monospace",
}
