"""The engine beside general-purpose direct-collocation libraries: ``python -m benchmarks.peers``."""
