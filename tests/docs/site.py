"""A built page as a reader's browser sees it: its text, where it leads, what it loads, what can be led to."""

from __future__ import annotations

from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote, urldefrag

LOADED = {"img": "src", "script": "src", "link": "href", "iframe": "src", "source": "src", "object": "data"}


@dataclass
class BuiltPage(HTMLParser):
    """What one page holds; `links` and `loaded` as they are written, `ids` that links may name."""

    path: Path
    links: list[str] = field(default_factory=list[str])
    loaded: list[str] = field(default_factory=list[str])
    ids: set[str] = field(default_factory=set[str])
    untold: list[str] = field(default_factory=list[str])
    text: str = ""

    def __post_init__(self) -> None:
        super().__init__()
        self.feed(self.path.read_text(encoding="utf-8"))

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        own = {name: value or "" for name, value in attrs}
        if "id" in own:
            self.ids.add(own["id"])
        if tag == "a" and own.get("href"):
            self.links.append(own["href"])
        if tag == "img" and not own.get("alt", "").strip():
            self.untold.append(own.get("src", ""))
        is_address = tag == "link" and own.get("rel") in {"index", "search", "next", "prev", "canonical"}
        if own.get(LOADED.get(tag, "")) and not is_address:
            self.loaded.append(own[LOADED[tag]])

    def handle_data(self, data: str) -> None:
        self.text += data


def leads_nowhere(page: BuiltPage, pages: dict[Path, BuiltPage]) -> list[str]:
    """Links of a page to a file that is not there, or to a place in a page that it does not have."""
    faults: list[str] = []
    for link in page.links:
        if "://" in link or link.startswith("mailto:"):
            continue
        address, anchor = urldefrag(link)
        target = (page.path.parent / unquote(address)).resolve() if address else page.path
        if not target.exists() or (anchor and (target not in pages or unquote(anchor) not in pages[target].ids)):
            faults.append(link)
    return faults
