"""Lines of text as files, tables, logs and axes need them."""

from __future__ import annotations

import unicodedata


def one_line(text: str) -> str:
    """A text as one line [-]: white space drawn together, control characters left out."""
    joined = " ".join(text.split())
    return "".join(letter for letter in joined if unicodedata.category(letter) not in ("Cc", "Cs"))


def capital(words: str) -> str:
    """Words [-] with a capital at the beginning."""
    return words[:1].upper() + words[1:]
