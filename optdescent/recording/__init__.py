"""A recorded approach as a flight: foreign columns read by a map, doubts marked, missing quantities derived."""

from optdescent.recording.declaration import ColumnMap, read_columns
from optdescent.recording.read import Recording, read_recording

__all__ = ["ColumnMap", "Recording", "read_columns", "read_recording"]
