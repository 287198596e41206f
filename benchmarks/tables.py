"""Tables of a benchmark: CSV for machines, Markdown for people."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from pathlib import Path

Row = Sequence[str]


def markdown(header: Row, rows: Sequence[Row]) -> str:
    """The table as Markdown, columns padded so that it reads well as plain text too."""
    widths = [max(len(r[i]) for r in (header, *rows)) for i in range(len(header))]
    lines = ["| " + " | ".join(c.ljust(w) for c, w in zip(r, widths, strict=True)) + " |" for r in (header, *rows)]
    lines.insert(1, "|" + "|".join("-" * (w + 2) for w in widths) + "|")
    return "\n".join(lines)


def write_csv(path: Path, header: Row, rows: Sequence[Row]) -> None:
    """Write the table to ``path`` as comma-separated values."""
    with path.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.writer(stream)
        writer.writerow(header)
        writer.writerows(rows)
