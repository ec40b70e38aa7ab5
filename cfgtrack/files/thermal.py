"""The thermal data of a part, read from a hardware definition."""

from __future__ import annotations

from cfgtrack.files.table import Table
from cfgtrack.model.part import Thermal


def read_thermal(table: Table) -> Thermal | None:
    """Return the data of a [part.thermal] table in SI units, None after noting what is missing or wrong."""
    capacity = table.quantity("capacity", "heat capacity", required=True)
    leak = table.quantity("leak", "thermal conductance", required=True)
    start = table.quantity("start", "temperature", required=True)
    limit = table.quantity("limit", "temperature", required=True)
    heater = table.quantity("heater", "power")
    biot = table.number("biot")
    table.finish()
    if capacity == 0:
        table.note("capacity", "out-of-range", "expected more than 0 J/K")
    if limit is not None and limit == start:
        sentence = "it is limit too: nobody can tell whether the unit may grow no colder or no warmer"
        table.note("start", "contradiction", sentence)
    if capacity is None or leak is None or start is None or limit is None:
        return None
    return Thermal(capacity, leak, start, limit, heater=heater or 0.0, biot=biot)
