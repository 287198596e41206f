"""The caution, in a file that imports nothing: the command line shows it in `--help`, which starts fast."""

from __future__ import annotations

CAUTION = (
    "Training analysis and research only; not for use in flight or for dispatch. The operator's approved data, local "
    "regulations and licensed instructors decide."
)
"""The caution that every result, chart, table, report and display carries."""
