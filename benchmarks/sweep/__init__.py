"""Sweeps measured: throughput, scaling, memory, a cluster's overhead."""
