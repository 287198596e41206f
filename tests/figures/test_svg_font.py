"""Which outlines an SVG carries."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from optdescent.figures.svg_font import embed_fonts


@pytest.mark.parametrize(
    ("style", "weight"),
    [
        ("font: 8px 'DejaVu Sans'", "normal"),
        ("font: 700 8px 'DejaVu Sans'", "bold"),
        ("font-size: 8px; font-weight: bold", "bold"),
        ("font: 5.1700px 'DejaVu Sans'", "normal"),
        ("font: 5.700px 'DejaVu Sans'", "normal"),
        ("font: 8px 'DejaVu Sans'; opacity: 0.700", "normal"),
    ],
)
def test_bold_outlines_go_with_bold_text_alone(tmp_path: Path, style: str, weight: str) -> None:
    path = tmp_path / "text.svg"
    path.write_text(f'<svg><style type="text/css"></style><text style="{style}">q</text></svg>', encoding="utf-8")
    embed_fonts(path)
    assert re.findall(r"font-weight:(\w+);src:", path.read_text(encoding="utf-8")) == [weight]
