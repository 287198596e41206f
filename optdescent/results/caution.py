"""The caution as results carry it; importing it imports next to nothing, so that `--help` starts fast."""

from __future__ import annotations

from optdescent.caution import CAUTION as CAUTION
