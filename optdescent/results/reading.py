"""How a recording was read: what was recorded, derived, assumed or is not known, what was left out, and why."""

from __future__ import annotations

from dataclasses import asdict, dataclass, fields
from enum import Enum
from typing import Any


class Source(Enum):
    """Where a column of a recorded flight is from."""

    RECORDED = "recorded"
    DERIVED = "derived"
    ASSUMED = "assumed"
    UNKNOWN = "not known"


@dataclass(frozen=True)
class Origin:
    """Where one column is from: how it was had, in a sentence, and its one sigma [SI], not a number if none is known.

    Sigma is one number for the column: the quadratic mean over its points.
    """

    quantity: str
    source: Source
    sentence: str
    sigma: float


@dataclass(frozen=True)
class LeftOut:
    """Rows of a file that were not used, and why; `rows` are numbered as `Reading.counted` says."""

    reason: str
    rows: tuple[int, ...]


@dataclass(frozen=True)
class Gap:
    """A stretch of time [s] in which a quantity is not known; `quantity` is "every column" where rows are missing."""

    quantity: str
    begins: float
    ends: float


@dataclass(frozen=True)
class Reading:
    """How a recording was read.

    `rows` in the file and `points` of the flight; `grid` and `smoothing` in a sentence; `filled` counts points of a
    quantity that lie between recorded values no further apart than a gap [-]; `digest` is that of the file and its map.
    `is_gone_around` says that the flight climbs away from where it ends, and that what comes after is left out.
    """

    file: str
    digest: str
    counted: str
    rows: int
    points: int
    grid: str
    smoothing: str
    left_out: tuple[LeftOut, ...]
    gaps: tuple[Gap, ...]
    filled: tuple[tuple[str, int], ...]
    origins: tuple[Origin, ...]
    warnings: tuple[str, ...]
    is_gone_around: bool = False

    def origin(self, quantity: str) -> Origin:
        """Where a column is from; not known [SI] if nothing is said of it."""
        found = next((one for one in self.origins if one.quantity == quantity), None)
        return found or Origin(quantity, Source.UNKNOWN, "", float("nan"))

    def plain(self) -> dict[str, Any]:
        """Nested dictionaries for JSON [SI]; a sigma that is not known is None."""
        told = asdict(self)
        told["origins"] = [
            asdict(one) | {"source": one.source.value, "sigma": one.sigma if one.sigma == one.sigma else None}
            for one in self.origins
        ]
        return told

    @classmethod
    def from_plain(cls, data: dict[str, Any]) -> Reading:
        """Reading from nested dictionaries, as stored in a file [SI]."""
        told = {field.name: data[field.name] for field in fields(cls) if field.name in data}
        told["left_out"] = tuple(LeftOut(one["reason"], tuple(one["rows"])) for one in data["left_out"])
        told["gaps"] = tuple(Gap(**one) for one in data["gaps"])
        told["filled"] = tuple((str(name), int(count)) for name, count in data["filled"])
        told["warnings"] = tuple(data["warnings"])
        told["origins"] = tuple(
            Origin(
                one["quantity"],
                Source(one["source"]),
                one["sentence"],
                float("nan") if one["sigma"] is None else one["sigma"],
            )
            for one in data["origins"]
        )
        return cls(**told)
