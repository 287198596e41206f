"""Dynamic programming on a grid beside the collocated optimum of a reduced descent: ``python -m benchmarks.grid``."""
