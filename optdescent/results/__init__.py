"""What every answer looks like, in memory and on disk."""

from optdescent.results.flight import Breach, Flight, GateReport, Kind, SolverRecord, Summary
from optdescent.results.provenance import CAUTION, Provenance

__all__ = ["CAUTION", "Breach", "Flight", "GateReport", "Kind", "Provenance", "SolverRecord", "Summary"]
