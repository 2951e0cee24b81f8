"""Points known in a local site grid and in a projected grid: what a local grid is fitted to."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType

from accuracy.errors import InputError, Problem
from accuracy.findings import Finding, Severity
from accuracy.formats.tables import TextTable, read_text_table
from accuracy.inputs.columns import Layout
from accuracy.inputs.rows import Cells, PointRows

_NEEDED = ("id", "local_easting", "local_northing", "easting", "northing")
_HEIGHTS = ("local_height", "height")


@dataclass(frozen=True)
class GridPair:
    """One point in both grids, in their own units.

    Attributes
    ----------
    id : str
        As written.
    local_easting, local_northing : float
        In the unit of the local grid.
    easting, northing : float
        In the unit of the projected grid.
    local_height, height : float or None
        In the height units of both; both or none.
    """

    id: str
    local_easting: float
    local_northing: float
    easting: float
    northing: float
    local_height: float | None = None
    height: float | None = None


@dataclass(frozen=True)
class PairTable:
    """A table of pairs, in the order of the file; ids are unique."""

    path: Path
    pairs: tuple[GridPair, ...]
    findings: tuple[Finding, ...] = ()


def read_grid_pairs(path: Path) -> PairTable:
    """Read ``id, local_easting, local_northing, local_height, easting, northing, height``.

    Columns stand in any order; height columns may be absent and cells in them empty. Units are those that
    the job states for the local grid and those of its reference system.

    Raises
    ------
    InputError
        All mistakes at once, each with file, line, point and column.
    """
    table = read_text_table(path)
    if not table.rows:
        raise InputError(
            "the table holds no pairs", where=str(path), remedy="check that this is the right file"
        )
    rows = PointRows(table, _layout(table))
    pairs = [_pair(cells) for cells in rows]
    rows.finish()
    return PairTable(path, tuple(pairs), rows.findings)


def _layout(table: TextTable) -> Layout:
    header = table.rows[0]
    names = header.cells
    while names and not names[-1]:  # a delimiter at the end of the line
        names = names[:-1]
    plain = [re.sub(r"[\W_]+", "_", name.lower()).strip("_") for name in names]
    known = (*_NEEDED, *_HEIGHTS)
    place = f"{table.path.name}, line {header.line}"
    problems = [
        Problem(place, f"no column {name}", f"needed: {', '.join(_NEEDED)}")
        for name in _NEEDED
        if name not in plain
    ]
    problems += [
        Problem(place, f"two columns {name}", "keep one") for name in known if plain.count(name) > 1
    ]
    if len(set(_HEIGHTS) & set(plain)) == 1:
        problems.append(Problem(place, "heights on one side only", "give both columns, or none"))
    if problems:
        raise InputError(
            "the header cannot be used: " + ", ".join(names),
            where=f"{table.path}, line {header.line}",
            remedy="name the columns exactly so, without units: the job states the local unit, and the "
            "reference system has the other",
            problems=tuple(problems),
        )
    columns = {name: index for index, name in enumerate(plain) if name in known}
    ignored = tuple(
        Finding(
            "checkpoints-column-ignored",
            Severity.NOTE,
            f"{table.path.name}: column {name!r} is not used",
            evidence={"column": name},
        )
        for name, its in zip(names, plain, strict=True)
        if its not in known and name
    )
    return Layout(MappingProxyType(columns), names, header_rows=1, findings=ignored)


def _pair(cells: Cells) -> GridPair:
    local_height = cells.optional_number("local_height")
    height = cells.optional_number("height")
    for role, value, other in (
        ("height", height, local_height),
        ("local_height", local_height, height),
    ):
        if value is None and other is not None:
            cells.refuse(role, "nothing is written", "give both heights or none")
    return GridPair(
        id=cells.id,
        local_easting=cells.number("local_easting"),
        local_northing=cells.number("local_northing"),
        easting=cells.number("easting"),
        northing=cells.number("northing"),
        local_height=local_height,
        height=height,
    )
