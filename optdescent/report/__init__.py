"""Report: one self-contained page from stored results, and its tables as files."""

from optdescent.report.given import Given, read_given
from optdescent.report.page import Report, compose, write_page, write_tables

__all__ = ["Given", "Report", "compose", "read_given", "write_page", "write_tables"]
