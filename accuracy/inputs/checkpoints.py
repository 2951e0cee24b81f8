"""Checkpoint tables: what the surveyor hands in."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Literal

from accuracy.findings import Finding, Severity
from accuracy.inputs.rows import Cells, open_points, plain_words
from accuracy.inputs.stated_targets import COLUMNS as TARGET_COLUMNS
from accuracy.inputs.stated_targets import StatedTarget, stated_target
from accuracy.job.values import epoch_mistake
from accuracy.units import LengthUnit

Cover = Literal["non-vegetated", "vegetated"]
Tested = Literal["vertical", "horizontal", "both"]

#: Land cover as written (lower case, blanks for ``-`` and ``_``) -> group. Names from the lists of the
#: ASPRS standards (from memory) and common practice. Grass is not here: short and tall grass differ.
COVERS: Mapping[str, Cover] = MappingProxyType(
    {
        **dict.fromkeys(("non vegetated", "nonvegetated", "nva"), "non-vegetated"),
        **dict.fromkeys(
            ("open", "open terrain", "bare", "bare earth", "bare soil"), "non-vegetated"
        ),
        **dict.fromkeys(("hard surface", "paved", "pavement", "asphalt", "urban"), "non-vegetated"),
        **dict.fromkeys(("concrete", "gravel", "rock", "sand"), "non-vegetated"),
        **dict.fromkeys(("vegetated", "vegetation", "vva"), "vegetated"),
        **dict.fromkeys(("tall weeds", "crops", "tall grass", "brush", "shrubs"), "vegetated"),
        **dict.fromkeys(("forest", "forested", "trees", "low trees"), "vegetated"),
    }
)
_PLAIN_COVERS = frozenset({"non vegetated", "nonvegetated", "nva", "vegetated", "vva"})
_TESTED: Mapping[str, Tested] = MappingProxyType(
    {
        **dict.fromkeys(("vertical", "v"), "vertical"),
        **dict.fromkeys(("horizontal", "h"), "horizontal"),
        "both": "both",
    }
)
_POSITION = frozenset({"id", "easting", "northing", "height"})
_ALL = _POSITION | {"cover", "kind", "survey_rmse_h_m", "survey_rmse_v_m", "epoch", "description"}
_ALL |= TARGET_COLUMNS


@dataclass(frozen=True)
class Checkpoint:
    """One surveyed point, in the units and frame of its table.

    Attributes
    ----------
    id : str
        As written.
    easting, northing : float
        Stored unit of the table; longitude and latitude in degrees where the table says so.
    height : float
        Stored vertical unit.
    cover : {"non-vegetated", "vegetated"}
        Land cover group.
    cover_stated : bool
        False where the table is silent and non-vegetated was assumed.
    tested : {"vertical", "horizontal", "both"}
        What the point may be used for (column ``kind``).
    survey_rmse_h_m, survey_rmse_v_m : float or None
        The survey's own accuracy in metres, horizontal radial and vertical.
    epoch_year : float or None
        Decimal year of the coordinates.
    description : str
        Free text.
    line : int
        Line in the file, from 1.
    target : StatedTarget or None
        The target that lies there, as the row states it.
    """

    id: str
    easting: float
    northing: float
    height: float
    cover: Cover = "non-vegetated"
    cover_stated: bool = False
    tested: Tested = "both"
    survey_rmse_h_m: float | None = None
    survey_rmse_v_m: float | None = None
    epoch_year: float | None = None
    description: str = ""
    line: int = 0
    target: StatedTarget | None = None


@dataclass(frozen=True)
class CheckpointTable:
    """A table of surveyed points.

    Attributes
    ----------
    path : Path
        The file.
    points : tuple of Checkpoint
        In the order of the file; ids are unique.
    horizontal_unit, vertical_unit : LengthUnit or None
        Stated by column names such as ``height_ftus``; None where the table is silent.
    geographic : bool
        True where the columns are longitude and latitude.
    findings : tuple of Finding
        What was assumed or ignored.
    """

    path: Path
    points: tuple[Checkpoint, ...]
    horizontal_unit: LengthUnit | None = None
    vertical_unit: LengthUnit | None = None
    geographic: bool = False
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True)
class MeasuredPoint:
    """One position measured in a deliverable; `height` is None where the table has no height column."""

    id: str
    easting: float
    northing: float
    height: float | None = None
    line: int = 0


@dataclass(frozen=True)
class MeasuredTable:
    """A table of positions measured in an orthophoto or cloud; attributes as in `CheckpointTable`.

    `decimals` is the number of decimals written in the easting column (largest).
    """

    path: Path
    points: tuple[MeasuredPoint, ...]
    horizontal_unit: LengthUnit | None = None
    vertical_unit: LengthUnit | None = None
    geographic: bool = False
    decimals: int = 3
    findings: tuple[Finding, ...] = ()


def read_checkpoints(path: Path, order: str | None = None) -> CheckpointTable:
    """Read a checkpoint table.

    Parameters
    ----------
    path : Path
        CSV or text file.
    order : str, optional
        Letters P N E Z D in the order of the columns of a file without a header.

    Raises
    ------
    InputError
        All mistakes at once, each with file, line, point and column.
    """
    rows = open_points(path, order, roles=_ALL, needed=_POSITION)
    points, covers = [], set()
    for cells in rows:
        points.append(_checkpoint(cells))
        covers.add(cells.text("cover"))
    rows.finish()
    return CheckpointTable(
        path=path,
        points=tuple(points),
        horizontal_unit=rows.layout.horizontal_unit,
        vertical_unit=rows.layout.vertical_unit,
        geographic=rows.layout.geographic,
        findings=(
            *rows.findings,
            *_cover_findings(path, points, covers),
            *_repeated_places(path, points),
        ),
    )


def _checkpoint(cells: Cells) -> Checkpoint:
    easting, northing = cells.position()
    cover = cells.choice("cover", COVERS)
    return Checkpoint(
        id=cells.id,
        easting=easting,
        northing=northing,
        height=cells.number("height"),
        cover=cover or "non-vegetated",
        cover_stated=cover is not None,
        tested=cells.choice("kind", _TESTED) or "both",
        survey_rmse_h_m=_rmse(cells, "survey_rmse_h_m"),
        survey_rmse_v_m=_rmse(cells, "survey_rmse_v_m"),
        epoch_year=_epoch(cells),
        description=cells.text("description"),
        line=cells.line,
        target=stated_target(cells),
    )


def _rmse(cells: Cells, role: str) -> float | None:
    value = cells.optional_number(role)
    if value is not None and value < 0.0:
        cells.refuse(role, f"{value:g}", "metres, not negative")
    return value


def _epoch(cells: Cells) -> float | None:
    value = cells.optional_number("epoch")
    if value is not None and (mistake := epoch_mistake(value)):
        cells.refuse("epoch", cells.text("epoch"), mistake)
    return value


def _cover_findings(
    path: Path, points: Sequence[Checkpoint], written: set[str]
) -> Iterator[Finding]:
    silent = [point.id for point in points if not point.cover_stated]
    if silent:
        which = "all points" if len(silent) == len(points) else f"points {', '.join(silent)}"
        yield Finding(
            "checkpoints-cover-assumed",
            Severity.WARNING,
            f"{path.name}: no land cover is stated for {which}; taken as non-vegetated",
            evidence={"count": len(silent)},
            remedy="add a column cover with non-vegetated or vegetated",
        )
    for text in sorted(written - {""}):
        if (words := plain_words(text)) not in _PLAIN_COVERS:
            message = f"{path.name}: land cover {text!r} is taken as {COVERS[words]}"
            yield Finding("checkpoints-cover-grouped", Severity.NOTE, message)


def _repeated_places(path: Path, points: Sequence[Checkpoint]) -> Iterator[Finding]:
    here: dict[tuple[float, float], list[Checkpoint]] = {}
    for point in points:
        here.setdefault((point.easting, point.northing), []).append(point)
    for together in here.values():
        if len(together) > 1:
            *others, last = (f"{point.id} (line {point.line})" for point in together)
            yield Finding(
                "checkpoints-repeated-place",
                Severity.WARNING,
                f"{path.name}: points {', '.join(others)} and {last} have the same easting and northing",
                evidence={
                    "first": together[0].id,
                    "second": together[1].id,
                    "ids": ", ".join(point.id for point in together),
                },
                remedy="keep one of them, or correct the coordinates",
            )


def read_measured_points(path: Path) -> MeasuredTable:
    """Read a table of measured positions (``id, easting|x, northing|y, height|z`` with optional height).

    Raises
    ------
    InputError
        All mistakes at once, each with file, line, point and column.
    """
    rows = open_points(path, None, roles=_POSITION, needed=_POSITION - {"height"})
    points = []
    decimals = 0
    for cells in rows:
        easting, northing = cells.position()
        height = cells.number("height") if cells.has("height") else None
        points.append(MeasuredPoint(cells.id, easting, northing, height, cells.line))
        decimals = max(decimals, cells.decimals("easting"))
    rows.finish()
    layout = rows.layout
    return MeasuredTable(
        path=path,
        points=tuple(points),
        horizontal_unit=layout.horizontal_unit,
        vertical_unit=layout.vertical_unit,
        geographic=layout.geographic,
        decimals=decimals,
        findings=rows.findings,
    )
