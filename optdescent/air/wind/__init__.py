"""Wind, one file per form (see `field` for the contract)."""

from optdescent.air.wind.constant import ConstantWind
from optdescent.air.wind.field import ColumnField, Wind, WindField, WindSample
from optdescent.air.wind.none import NoWind
from optdescent.air.wind.profile import ProfileDeclaration, ProfileWind

WindDeclaration = NoWind | ConstantWind | ProfileDeclaration
"""What the table `air.wind` of a scenario may hold; its `kind` decides."""

__all__ = [
    "ColumnField",
    "ConstantWind",
    "NoWind",
    "ProfileDeclaration",
    "ProfileWind",
    "Wind",
    "WindDeclaration",
    "WindField",
    "WindSample",
]
