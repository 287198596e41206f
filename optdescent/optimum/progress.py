"""Who is told, in a sentence, that a step of the work begins."""

from __future__ import annotations

from collections.abc import Callable

Progress = Callable[[str], None]


def silent(_: str) -> None:
    """Progress that nobody watches [-]."""
