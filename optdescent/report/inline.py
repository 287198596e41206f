"""A figure as SVG inside a page: names of its parts are its own, its text is text, and it says what it shows."""

from __future__ import annotations

import io
import re
from typing import Any
from xml.etree import ElementTree

from matplotlib.figure import Figure

from optdescent.figures.style import styled
from optdescent.markup import Markup, escaped
from optdescent.report.template import tag

_SVG, _XLINK = "http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"
_HREF = f"{{{_XLINK}}}href"
_ADDRESS = re.compile(r"url\(#([^)]+)\)")


def inline_svg(figure: Figure, anchor: str, title: str, words: str) -> Markup:
    """A figure as an element of a page, without fonts, which the page holds once for all.

    Parameters
    ----------
    anchor : str
        What the names of its parts begin with, so that two figures of a page have none in common.
    title, words : str
        Its alternative text: what it is, and what it shows.
    """
    drawn = io.StringIO()
    drawing: Any = figure
    with styled():
        drawing.savefig(drawn, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    root = ElementTree.fromstring(drawn.getvalue())
    _, _, width, height = (float(number) for number in root.attrib["viewBox"].split())
    said = {"aria-labelledby": f"{anchor}-title {anchor}-words", "role": "img", "id": anchor}
    size = {"viewBox": root.attrib["viewBox"], "width": f"{width:g}", "height": f"{height:g}"}
    inside = [_element(child, anchor) for child in root if _name(child.tag) not in ("metadata", "title", "desc")]
    return tag(
        "svg",
        {"xmlns": _SVG, "xmlns:xlink": _XLINK, **said, **size},
        tag("title", {"id": f"{anchor}-title"}, escaped(title)),
        tag("desc", {"id": f"{anchor}-words"}, escaped(words)),
        *inside,
    )


def _element(element: ElementTree.Element, anchor: str) -> Markup:
    """An element of a drawing as markup: names and links between its parts begin with the anchor."""
    if _name(element.tag) == "style":
        return Markup("")  # one rule for all figures stands in the style sheet of the page
    children: list[Markup] = [escaped(element.text)] if (element.text or "").strip() and element.text else []
    for child in element:
        children.append(_element(child, anchor))
        if child.tail and child.tail.strip():
            children.append(escaped(child.tail))
    attributes = {_name(key): _linked(key, value, anchor) for key, value in element.attrib.items()}
    return tag(_name(element.tag), attributes, *children)


def _linked(key: str, value: str, anchor: str) -> str:
    if key == "id":
        return f"{anchor}-{value}"
    if key == _HREF or key == "href":
        return f"#{anchor}-{value.removeprefix('#')}"
    return _ADDRESS.sub(rf"url(#{anchor}-\1)", value)


def _name(name: str) -> str:
    """Name without the address of its vocabulary; a link keeps the prefix that pages know."""
    space, _, own = name.rpartition("}")
    return f"xlink:{own}" if space == f"{{{_XLINK}" else own
