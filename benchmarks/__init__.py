"""Benchmarks: ``python -m benchmarks.NAME`` from the repository's root. Ratios are taken within one run."""
