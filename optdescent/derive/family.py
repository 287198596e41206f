"""The family of rules that is searched: its parts, and for each the values that people can use in the air.

A rule of the family has a profile, a descent speed and a distance by which approach speed is reached; any of the other
parts may be added. Values are whole miles, whole fifties of feet for each mile or halves of a mile for each 1000 ft,
whole tens of knots of speed, multiples of five knots of wind and of slowing. That such values can be used in the air is
common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from itertools import pairwise
from typing import Any, TypeAlias

from optdescent.inputs import InputFault, validated
from optdescent.rules import Rule
from optdescent.rules.parts import DistanceProfile, HeightProfile, PointsProfile, RuleFile, SpeedPlan
from optdescent.rules.startable import check_start
from optdescent.rules.words import rule_words
from optdescent.scenario import BelievedWind, Scenario
from optdescent.scenario.declaration import AntiIceOff


class Part(Enum):
    """A part of a rule: one thing to remember."""

    SLOPE = "height for distance"
    DESCENT = "descent speed"
    APPROACH = "approach speed by a distance"
    EARLIER = "begun earlier in any case"
    SPEED = "begun earlier for speed to lose"
    TAILWIND = "begun earlier for tailwind"
    MASS = "begun earlier for mass"
    ANTI_ICE = "begun earlier with engine anti-ice on"
    MINIMUM_CLEAN = "minimum clean speed by a distance"
    FIRST_STEP = "the first step's speed by a distance"
    SECOND_STEP = "the second step's speed by a distance"
    SLOW_DOWN = "rate of slowing"
    GEAR = "gear by a distance"


NEEDED = (Part.SLOPE, Part.DESCENT, Part.APPROACH)
"""Parts that every rule of the family has."""
_BY = {
    Part.MINIMUM_CLEAN: "minimum clean",
    Part.FIRST_STEP: "first step",
    Part.SECOND_STEP: "second step",
    Part.APPROACH: "approach",
}
"""Speeds by distance, farthest first."""


@dataclass(frozen=True)
class Slope:
    """So many feet of height in so many miles."""

    feet: float
    miles: float = 1.0


Usable: TypeAlias = Slope | float
"""A value that can be used in the air: a slope, or a number whose unit its part says."""
Grid: TypeAlias = tuple[Usable, ...]


def _whole(first: int, last: int, step: int = 1) -> Grid:
    return tuple(float(value) for value in range(first, last + 1, step))


_GRIDS: Mapping[Part, Grid] = {
    Part.SLOPE: (Slope(200.0), Slope(250.0), Slope(300.0), Slope(1000.0, 3.0), Slope(350.0), Slope(400.0)),
    Part.DESCENT: _whole(230, 330, 10),  # kt
    Part.APPROACH: _whole(3, 12),  # nm
    Part.EARLIER: _whole(1, 6),  # nm
    Part.SPEED: (20.0, 15.0, 10.0, 5.0),  # kt for one mile
    Part.TAILWIND: (20.0, 15.0, 10.0, 5.0),  # kt for one mile
    Part.MASS: (10.0, 5.0, 2.0, 1.0),  # t for one mile
    Part.ANTI_ICE: _whole(1, 6),  # nm
    Part.MINIMUM_CLEAN: _whole(8, 35),  # nm
    Part.FIRST_STEP: _whole(7, 28),  # nm
    Part.SECOND_STEP: _whole(6, 20),  # nm
    Part.SLOW_DOWN: (5.0, 15.0, 20.0),  # kt for each mile; without it 10
    Part.GEAR: _whole(4, 12),  # nm
}  # fmt: skip
"""Usable values of each part, from one end to the other."""
_FIRST: Mapping[Part, Grid] = {
    Part.SLOPE: (Slope(300.0),),
    Part.DESCENT: (280.0,),
    Part.APPROACH: (5.0,),
    Part.EARLIER: (2.0,),
    Part.SPEED: (20.0, 10.0),
    Part.TAILWIND: (20.0, 10.0),
    Part.MASS: (5.0, 2.0),
    Part.ANTI_ICE: (2.0,),
    Part.MINIMUM_CLEAN: (15.0, 20.0),
    Part.FIRST_STEP: (12.0, 16.0),
    Part.SECOND_STEP: (9.0, 12.0),
    Part.SLOW_DOWN: (5.0, 15.0),
    Part.GEAR: (7.0,),
}
"""Values with which a part is tried first: what is usual (common practice, no source)."""


@dataclass(frozen=True)
class Candidate:
    """A rule of the family: for each part that it has, in the order of the parts, the index of its usable value."""

    levels: tuple[tuple[Part, int], ...]

    @classmethod
    def of(cls, levels: Mapping[Part, int]) -> Candidate:
        """From the index of each part [-]."""
        return cls(tuple((part, levels[part]) for part in Part if part in levels))

    def index(self, part: Part) -> int | None:
        """Index of the value of a part [-]; None if it does not have it."""
        return dict(self.levels).get(part)

    def having(self, part: Part, index: int) -> Candidate:
        """The same with a part at another value, by its index [-]."""
        return Candidate.of({**dict(self.levels), part: index})

    @property
    def parts(self) -> tuple[Part, ...]:
        """Parts that it has."""
        return tuple(part for part, _ in self.levels)

    @property
    def simplicity(self) -> int:
        """Things to remember [-]: one for each part."""
        return len(self.levels)


@dataclass(frozen=True)
class Family:
    """The rules that are searched: usable values of each part that may matter, and the mass that counts as usual [t].

    A part that nothing in the conditions drives is left out: it could not be told from its absence. `earliest` is the
    scenario in which a descent begins first, by height and distance at the start.
    """

    grids: Mapping[Part, Grid]
    reference: float
    earliest: Scenario

    @classmethod
    def of(cls, scenarios: Sequence[Scenario], descent: float | None = None) -> Family:
        """Family for conditions; `descent` [kt] is the descent speed where it is not searched.

        Raises
        ------
        ValueError
            There are no conditions.
        """
        if not scenarios:
            raise ValueError("no conditions")
        masses = [scenario.start.mass / 1000.0 for scenario in scenarios]
        idle = {Part.MASS} if max(masses) - min(masses) < 0.1 else set[Part]()
        if all(isinstance(scenario.handling.anti_ice, AntiIceOff) for scenario in scenarios):
            idle.add(Part.ANTI_ICE)
        if all(scenario.technique.wind is BelievedWind.NONE for scenario in scenarios):
            idle.add(Part.TAILWIND)
        grids = {part: grid for part, grid in _GRIDS.items() if part not in idle}
        if descent is not None:
            grids[Part.DESCENT] = (descent,)
        earliest = max(scenarios, key=lambda one: (one.start.altitude / one.start.distance, one.start.mass))
        return cls(grids, 2.0 * round(0.5 * sum(masses) / len(masses)), earliest)

    @property
    def start(self) -> Candidate:
        """The simplest rule, with usual values; steeper than usual if its descent would begin before the start."""
        usual = Candidate.of({part: self.first(part)[0] for part in NEEDED})
        steeper = (usual.having(Part.SLOPE, index) for index in range(len(self.grids[Part.SLOPE])))
        return next((one for one in (usual, *steeper) if self.is_sound(one)), usual)

    def first(self, part: Part) -> tuple[int, ...]:
        """Indices of the values with which a part is tried first [-]."""
        grid = self.grids[part]
        return tuple(grid.index(value) for value in _FIRST[part] if value in grid) or (len(grid) // 2,)

    def additions(self, candidate: Candidate) -> Iterator[Candidate]:
        """The candidate with one part more, at each of the values with which that is tried first."""
        for part in self.grids:
            if part not in candidate.parts:
                tried = (candidate.having(part, index) for index in self.first(part))
                yield from (one for one in tried if self.is_sound(one))

    def neighbours(self, candidate: Candidate, part: Part, stride: int) -> Iterator[Candidate]:
        """The candidate with one part's value so many steps of its grid [-] to either side."""
        index = candidate.index(part)
        if index is None:
            return
        for moved in (index - stride, index + stride):
            if 0 <= moved < len(self.grids[part]):
                other = candidate.having(part, moved)
                if self.is_sound(other):
                    yield other

    def is_sound(self, candidate: Candidate) -> bool:
        """Whether the speeds by distance follow one another, and the descent begins between start and gate."""
        distances = [self._number(candidate, part) for part in _BY if part in candidate.parts]
        if not all(far > near for far, near in pairwise(distances)):
            return False
        try:
            check_start(self.earliest, [self.rule(candidate)], "derived rules")
        except InputFault:
            return False
        return True

    def value(self, candidate: Candidate, part: Part) -> Usable | None:
        """Usable value of a part [unit of the part]; None if the candidate does not have it."""
        index = candidate.index(part)
        return None if index is None else self.grids[part][index]

    def _number(self, candidate: Candidate, part: Part) -> float:
        found = self.value(candidate, part)
        assert isinstance(found, float)
        return found

    def data(self, candidate: Candidate, name: str, source: str) -> dict[str, Any]:
        """A candidate as a rule file holds it [file units]."""
        terms = list(self._terms(candidate))
        slope = self.value(candidate, Part.SLOPE)
        assert isinstance(slope, Slope)
        if slope.miles == 1.0:
            profile: dict[str, Any] = {"kind": "height", "gradient_ft_per_nm": slope.feet, "terms": terms}
        else:
            lose = {"kind": "height_to_lose", "distance_nm": slope.miles, "per_height_ft": slope.feet}
            profile = {"kind": "distance", "terms": [lose, *terms]}
        by = [
            {"distance_nm": self._number(candidate, part), "speed": speed}
            for part, speed in _BY.items()
            if part in candidate.parts
        ]
        speeds: dict[str, Any] = {"descent_kt": self._number(candidate, Part.DESCENT)}
        if Part.SLOW_DOWN in candidate.parts:
            speeds["slow_down_kt_per_nm"] = self._number(candidate, Part.SLOW_DOWN)
        data: dict[str, Any] = {
            "name": name,
            "title": "",
            "source": source,
            "profile": profile,
            "speeds": {**speeds, "by": by},
        }
        if Part.GEAR in candidate.parts:
            data["devices"] = [{"device": "gear", "distance_nm": self._number(candidate, Part.GEAR)}]
        return {**data, "title": "; ".join(rule_words(_validated(data)))}

    def _terms(self, candidate: Candidate) -> Iterator[dict[str, Any]]:
        for part in candidate.parts:
            match part:
                case Part.EARLIER:
                    yield {"kind": "always", "distance_nm": self._number(candidate, part)}
                case Part.SPEED:
                    yield {"kind": "speed_to_lose", "distance_nm": 1.0, "per_speed_kt": self._number(candidate, part)}
                case Part.TAILWIND:
                    yield {"kind": "tailwind", "distance_nm": 1.0, "per_wind_kt": self._number(candidate, part)}
                case Part.MASS:
                    per = self._number(candidate, part)
                    yield {"kind": "mass_above", "distance_nm": 1.0, "reference_t": self.reference, "per_mass_t": per}
                case Part.ANTI_ICE:
                    yield {"kind": "anti_ice", "distance_nm": self._number(candidate, part)}
                case _:
                    pass

    def rule(self, candidate: Candidate, name: str = "derived", source: str = "derived, not published") -> Rule:
        """A candidate as a rule [SI], by the same declarations as every rule file."""
        return _validated(self.data(candidate, name, source))


def _validated(data: Mapping[str, Any]) -> Rule:
    return validated(RuleFile, {"rules": [data]}, "derived rules").rules[0]


def things_to_remember(rule: Rule) -> int:
    """How many things there are to remember about any rule [-].

    The height for distance, or each height at a distance and the slope before them; the descent speed; each allowance,
    term, speed by a distance, device, action, sink rate, check; a rounding; a rate of slowing other than the usual one.
    """
    profile = rule.profile
    count = len(profile.points) + 1 if isinstance(profile, PointsProfile) else 1
    count += len(profile.allowances) if isinstance(profile, HeightProfile) else 0
    count += len(profile.terms) - isinstance(profile, DistanceProfile) + (profile.round_up > 0.0)
    usual: float = SpeedPlan.model_fields["slow_down"].default
    count += 1 + (abs(rule.speeds.slow_down - usual) > 1e-9)
    count += sum(1 + len(part.terms) + (part.round_up > 0.0) for part in (*rule.speeds.by, *rule.devices))
    return count + (rule.sink is not None) + len(rule.when) + len(rule.sink_limits) + len(rule.checks)
