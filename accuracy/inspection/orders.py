"""Tables without a header: which orders of columns their numbers allow. Nothing is chosen here."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import permutations

from accuracy.formats.tables import TextRow, TextTable, is_number, parse_number
from accuracy.inspection.record import OrderReading

Range = tuple[float, float]
#: Largest height in any unit of length: the highest summit is near 29,032 ft (common knowledge).
LARGEST_HEIGHT = 30_000.0
#: Easting and northing inside a UTM zone, in metres, away from the equator (from the zones' definition:
#: false easting 500,000 m, zones six degrees wide).
UTM_EASTING: Range = (100_000.0, 900_000.0)
UTM_NORTHING: Range = (1_000_000.0, 10_000_000.0)
FIRST_ROWS = 5


def possible_orders(table: TextTable) -> tuple[OrderReading, ...]:
    """Read a table without a header in every usual order of columns: height behind easting and northing.

    Orders whose number columns hold text are left out. Where no order is left with a height that could be
    one, the others are given, too, each with what speaks against it.
    """
    width = min(len(row.cells) for row in table.rows)
    readings = [
        reading
        for letters in ("PNEZ", "PNEZD")
        for order in map("".join, permutations(letters))
        if order.index("Z") > max(order.index("N"), order.index("E"))
        and order.index("P") < order.index("Z")
        and (len(order) == width or (order.endswith("D") and len(order) <= width))
        and (reading := _read(table, order)) is not None
    ]
    likely = [reading for reading in readings if reading.possible]
    return tuple(sorted(likely or readings, key=lambda r: (not r.order.startswith("P"), r.order)))


def _read(table: TextTable, order: str) -> OrderReading | None:
    at = {letter: index for index, letter in enumerate(order)}
    columns: dict[str, list[float]] = {letter: [] for letter in "ENZ"}
    for row in table.rows:
        for letter, values in columns.items():
            cell = row.cells[at[letter]]
            if not is_number(cell):
                return None
            values.append(parse_number(cell))
    if "D" in at and all(is_number(row.cells[at["D"]]) for row in table.rows):
        return None  # a column of numbers is no description
    ids = [row.cells[at["P"]] for row in table.rows]
    if len(set(ids)) < len(ids):
        return None
    easting, northing, height = ((min(columns[letter]), max(columns[letter])) for letter in "ENZ")
    likeness, possible = _likeness(easting, northing, height)
    return OrderReading(
        order=order,
        easting=easting,
        northing=northing,
        height=height,
        first=tuple(_first(row, order, table.delimiter) for row in table.rows[:FIRST_ROWS]),
        likeness=likeness,
        possible=possible,
    )


def _first(row: TextRow, order: str, delimiter: str) -> tuple[str, ...]:
    cells = dict(zip(order, row.folded(len(order), delimiter), strict=False))
    return tuple(cells.get(letter, "") for letter in "PENZD")


def _likeness(easting: Range, northing: Range, height: Range) -> tuple[str, bool]:
    if max(map(abs, height)) > LARGEST_HEIGHT:
        return f"not possible: no height is {max(height, key=abs):g} in any unit", False
    if utm_like(easting, northing):
        return "as in a UTM zone", True
    if utm_like(northing, easting):
        return "not as in a UTM zone, where the two would be the other way round", True
    degrees = max(map(abs, (*easting, *northing))) <= 180.0
    if degrees and max(map(abs, northing)) > 90.0:
        return "not degrees: a latitude goes to 90 only", True
    if degrees:
        return "lengths of a local system, or degrees", True
    return "the numbers speak neither for nor against it", True


def utm_like(easting: Range, northing: Range) -> bool:
    """Whether both ranges are those of a UTM zone in metres."""
    return _within(easting, UTM_EASTING) and _within(northing, UTM_NORTHING)


def _within(values: Range, limits: Range) -> bool:
    return limits[0] <= values[0] and values[1] <= limits[1]


def ranges(places: Sequence[tuple[float, float]]) -> tuple[Range, Range]:
    """Give the ranges of easting and northing."""
    east, north = zip(*places, strict=True)
    return (min(east), max(east)), (min(north), max(north))
