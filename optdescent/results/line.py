"""A text in one line, as comments of files, cells of tables and lines of logs need it."""

from __future__ import annotations

import unicodedata


def one_line(text: str) -> str:
    """A text as one line [-]: white space drawn together, control characters left out."""
    joined = " ".join(text.split())
    return "".join(letter for letter in joined if unicodedata.category(letter) not in ("Cc", "Cs"))
