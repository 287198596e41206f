"""Settings that hold for every test."""

from __future__ import annotations

import os

from hypothesis import settings

os.environ["MPLBACKEND"] = "Agg"  # before anything imports matplotlib: no test needs a display

# The same examples on every machine and no time limit per example: a slow runner is not a fault of the code.
settings.register_profile("repeatable", derandomize=True, deadline=None, print_blob=True)
settings.load_profile("repeatable")
