"""Wind, one file per form (see `field` for the contract)."""

from optdescent.air.wind.constant import ConstantWind
from optdescent.air.wind.declaration import PerturbedDeclaration, WindDeclaration, WindPlace, sounding_of, wind_of
from optdescent.air.wind.field import ColumnField, Wind, WindField, WindSample
from optdescent.air.wind.given import GIVEN, GivenField
from optdescent.air.wind.grid import GridDeclaration, GridWind
from optdescent.air.wind.none import NoWind
from optdescent.air.wind.perturbed import Disturbance, PerturbedWind, forecast
from optdescent.air.wind.profile import ProfileDeclaration, ProfileWind
from optdescent.air.wind.route import Route
from optdescent.air.wind.section import SectionDeclaration, SectionWind
from optdescent.air.wind.section_field import SectionField

__all__ = [
    "GIVEN",
    "ColumnField",
    "ConstantWind",
    "Disturbance",
    "GivenField",
    "GridDeclaration",
    "GridWind",
    "NoWind",
    "PerturbedDeclaration",
    "PerturbedWind",
    "ProfileDeclaration",
    "ProfileWind",
    "Route",
    "SectionDeclaration",
    "SectionField",
    "SectionWind",
    "Wind",
    "WindDeclaration",
    "WindField",
    "WindPlace",
    "WindSample",
    "forecast",
    "sounding_of",
    "wind_of",
]
