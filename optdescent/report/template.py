"""Pieces of a page of HTML: every text goes in escaped, and only what is made here counts as markup."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterable, Mapping
from pathlib import Path

from optdescent.markup import Markup, escaped

_VOID = ("meta",)
NOTHING = Markup("")


def tag(name: str, attributes: Mapping[str, str], *children: Markup) -> Markup:
    """One element with its children; values of attributes are escaped."""
    told = "".join(f' {key}="{escaped(value)}"' for key, value in attributes.items())
    opened = f"<{name}{told}>"
    return Markup(opened if name in _VOID else f"{opened}{''.join(children)}</{name}>")


def joined(parts: Iterable[Markup], between: str = "\n") -> Markup:
    """Pieces one after the other."""
    return Markup(between.join(parts))


def paragraph(words: str) -> Markup:
    """A paragraph of plain words, which may be in any script."""
    return tag("p", {"dir": "auto"}, escaped(words))


def bullets(sentences: Iterable[str]) -> Markup:
    """A list of sentences; nothing if there is none."""
    items = [tag("li", {"dir": "auto"}, escaped(sentence)) for sentence in sentences]
    return tag("ul", {}, *items) if items else NOTHING


def section(anchor: str, heading: str, *children: Markup) -> Markup:
    """A section of the page with its heading, to which the contents lead."""
    title = tag("h2", {"id": f"{anchor}-heading"}, escaped(heading))
    return tag("section", {"id": anchor, "aria-labelledby": f"{anchor}-heading"}, title, *children)


def sliding(label: str, *children: Markup) -> Markup:
    """A box that scrolls sideways by itself where the screen is narrower than what it holds, by keyboard too."""
    return tag("div", {"class": "sliding", "role": "group", "aria-label": label, "tabindex": "0"}, *children)


def document(title: str, *body: Markup) -> Markup:
    """A whole page that asks for nothing from outside: what it may load and run is written at its head.

    Notes
    -----
    The policy (Content Security Policy, W3C) allows the one script of the page by its digest, styles of the page, and
    fonts inside it; no image, frame, form or request at all.
    """
    script = _read("sort.js")
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    policy = (
        f"default-src 'none'; script-src 'sha256-{digest}'; style-src 'unsafe-inline'; font-src data:; "
        "base-uri 'none'; form-action 'none'"
    )
    head = tag(
        "head",
        {},
        tag("meta", {"charset": "utf-8"}),
        tag("meta", {"http-equiv": "Content-Security-Policy", "content": policy}),
        tag("meta", {"name": "viewport", "content": "width=device-width, initial-scale=1"}),
        tag("meta", {"name": "referrer", "content": "no-referrer"}),
        tag("title", {}, escaped(title)),
        Markup(f'<style type="text/css">\n{_read("page.css")}</style>'),
    )
    whole = tag("body", {}, *body, Markup(f"<script>{script}</script>"))
    return Markup("<!DOCTYPE html>\n" + tag("html", {"lang": "en-GB"}, head, whole) + "\n")


def _read(name: str) -> str:
    return Path(__file__).with_name(name).read_text(encoding="utf-8")
