"""The command line: read, call, write, say. Rooms are imported inside commands, so that help starts fast."""

from optdescent.cli.main import main

__all__ = ["main"]
