"""The real browser that pages are looked at with."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from playwright.sync_api import Browser, sync_playwright

NEEDED = "OPTDESCENT_NEEDS_BROWSER"
"""Environment variable: set where the tests of the page must not be skipped."""
NAMES = ("chromium", "chromium-browser", "google-chrome")
FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--no-first-run",
    "--disable-component-update",
    "--disable-sync",
)


@contextmanager
def browser() -> Iterator[Browser]:
    """A headless Chromium; without one the tests are skipped, unless the environment says that they must not be."""
    path = next((found for found in map(shutil.which, NAMES) if found), None)
    if path is None:
        told = f"no browser named {' or '.join(NAMES)} is installed"
        if os.environ.get(NEEDED):
            pytest.fail(f"{told}, and {NEEDED} is set")
        pytest.skip(told)
    with sync_playwright() as played:
        opened = played.chromium.launch(executable_path=path, args=list(FLAGS))
        yield opened
        opened.close()
