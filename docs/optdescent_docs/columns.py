"""Columns of results and units, from the one table of names."""

from __future__ import annotations

from collections.abc import Mapping
from importlib import import_module

from docutils import nodes
from sphinx.util.docutils import SphinxDirective

from optdescent.recording.quantity import QUANTITIES
from optdescent.recording.unit import TIMESTAMP, units_of
from optdescent.results.schema import Column
from optdescent.units import UNITS
from optdescent_docs.text import code, table


class ColumnsDirective(SphinxDirective):
    """A table of columns: `columns` with module and name of the mapping that declares them."""

    required_arguments = 1

    def run(self) -> list[nodes.Node]:
        """Name, unit in memory and on disk, unit of charts and tables, and what each is."""
        module, _, name = self.arguments[0].rpartition(".")
        declared: Mapping[str, Column] = getattr(import_module(module), name)
        rows = [
            (
                [self._anchored(name, column)],
                f"{'-' if column.unit in ('1', '') else column.unit}",
                column.chart_unit.symbol or "-",
                column.long_name,
            )
            for column in declared.values()
        ]
        return [table(("name", "unit", "charted in", "what it is"), rows, (30, 12, 14, 44))]

    def _anchored(self, mapping: str, column: Column) -> nodes.literal:
        shown = code(column.name)
        shown["ids"] = [nodes.make_id(f"{mapping} {column.name}")]
        return shown


class UnitsDirective(SphinxDirective):
    """A table of the units that may end a key of a file."""

    def run(self) -> list[nodes.Node]:
        """Suffix, symbol, SI unit and factor of each."""
        rows = [
            ([code(f"_{unit.suffix}")], unit.symbol, f"{unit.factor:.12g} {unit.si}")
            for unit in UNITS.values()
            if unit.suffix
        ]
        return [table(("suffix of a key", "written", "one of it in SI"), rows, (30, 25, 45))]


class QuantitiesDirective(SphinxDirective):
    """A table of the quantities that a recording may have, and the units in which each may be kept."""

    def run(self) -> list[nodes.Node]:
        """Name, units and what each is."""
        rows: list[tuple[list[nodes.Node], str, str]] = []
        for quantity in QUANTITIES.values():
            units = [unit.name for unit in units_of(quantity.si)]
            units += [TIMESTAMP] if quantity.name == "time" else []
            if quantity.si == "1" and quantity.name != "flaps":
                units.remove("step")
            rows.append(([code(quantity.name)], ", ".join(f"`{unit}`" for unit in units), quantity.sentence))
        return [table(("name", "units", "what it is"), rows, (26, 34, 40))]
