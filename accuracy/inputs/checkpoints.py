"""Checkpoint tables: what the surveyor hands in."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType
from typing import Literal

from accuracy.findings import Finding, Severity
from accuracy.inputs.occupations import NO_NOTES, Occupation, SurveyNotes, merged, notes_of
from accuracy.inputs.rows import Cells, PointRows, open_points, plain_words
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
#: Land cover as written -> the one name of it that figures of a single land cover go by. Names of the classes
#: of the NDEP Guidelines 2004 (second-hand), put together with those of common practice. What is not here has
#: the name of its group alone.
LAND_COVERS: Mapping[str, str] = MappingProxyType(
    {
        **dict.fromkeys(
            ("open", "open terrain", "bare", "bare earth", "bare soil"), "open terrain"
        ),
        **dict.fromkeys(("gravel", "rock", "sand"), "open terrain"),
        **dict.fromkeys(
            ("hard surface", "paved", "pavement", "asphalt", "concrete"), "hard surface"
        ),
        "urban": "urban",
        **dict.fromkeys(("tall weeds", "tall grass", "crops"), "tall weeds and crops"),
        **dict.fromkeys(("brush", "shrubs", "low trees"), "brush and low trees"),
        **dict.fromkeys(("forest", "forested", "trees"), "forest"),
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
_SURVEY = frozenset({"date", "method", "instrument", "observer", "photograph", "occupation"})
_ALL = (
    _POSITION
    | {"cover", "kind", "survey_rmse_h_m", "survey_rmse_v_m", "epoch", "description"}
    | _SURVEY
    | TARGET_COLUMNS
)


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
    land_cover : str
        One of the names in `LAND_COVERS`; empty where only the group is stated.
    survey : SurveyNotes
        When, how and by whom it was surveyed, and its photograph.
    occupations : tuple of Occupation
        Where the point was occupied several times: each of them; the coordinates are their mean.
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
    land_cover: str = ""
    survey: SurveyNotes = NO_NOTES
    occupations: tuple[Occupation, ...] = ()
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
    crs : str or None
        What the file itself says of its system (GeoPackage, GeoJSON).
    """

    path: Path
    points: tuple[Checkpoint, ...]
    horizontal_unit: LengthUnit | None = None
    vertical_unit: LengthUnit | None = None
    geographic: bool = False
    findings: tuple[Finding, ...] = ()
    crs: str | None = None


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
    crs: str | None = None


def read_checkpoints(
    path: Path, order: str | None = None, layer: str | None = None, *, repeats: bool = False
) -> CheckpointTable:
    """Read a checkpoint table.

    Parameters
    ----------
    path : Path
        CSV or text file, workbook, GeoPackage or GeoJSON.
    order : str, optional
        Letters P N E Z D in the order of the columns of a file without a header.
    layer : str, optional
        Sheet of the workbook or layer of the GeoPackage.
    repeats : bool
        Whether an id may stand several times, once for each occupation; the mean is the point. A column
        ``occupation`` says so, too.

    Raises
    ------
    InputError
        All mistakes at once, each with file, line, point and column.
    """
    rows = open_points(path, order, roles=_ALL, needed=_POSITION, layer=layer, repeats=repeats)
    read: dict[str, list[Checkpoint]] = {}
    covers = set()
    for cells in rows:
        read.setdefault(cells.id, []).append(_checkpoint(cells))
        covers.add(cells.text("cover"))
    points = [_one_point(its, rows) for its in read.values()]
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
        crs=rows.crs,
    )


def _one_point(read: Sequence[Checkpoint], rows: PointRows) -> Checkpoint:
    """Make one point of its occupations; what must be the same in each of them and is not is a mistake."""
    first = read[0]
    if len(read) == 1 or not rows.repeats:
        return replace(first, occupations=())
    names: dict[str, int] = {}
    for one in read:
        (its,) = one.occupations
        if its.name and names.setdefault(its.name, one.line) != one.line:
            rows.refuse_record(
                one.line,
                first.id,
                f"its occupation {its.name!r} stands in {rows.unit} {names[its.name]} already",
                "every occupation once",
            )
    for name in ("cover", "cover_stated", "tested", "epoch_year"):
        for other in read[1:]:
            if getattr(other, name) != getattr(first, name):
                rows.refuse_record(
                    other.line,
                    first.id,
                    f"{name.removesuffix('_stated')} differs from the first occupation",
                    "one point has one cover, kind and epoch",
                )

    def worst(name: str) -> float | None:
        stated = [value for one in read if (value := getattr(one, name)) is not None]
        return max(stated, default=None)

    first = replace(
        first, survey_rmse_h_m=worst("survey_rmse_h_m"), survey_rmse_v_m=worst("survey_rmse_v_m")
    )
    return merged(first, [occupation for one in read for occupation in one.occupations])


def _checkpoint(cells: Cells) -> Checkpoint:
    easting, northing = cells.position()
    height = cells.number("height")
    cover = cells.choice("cover", COVERS)
    notes = notes_of(cells)
    return Checkpoint(
        id=cells.id,
        easting=easting,
        northing=northing,
        height=height,
        cover=cover or "non-vegetated",
        cover_stated=cover is not None,
        tested=cells.choice("kind", _TESTED) or "both",
        survey_rmse_h_m=_rmse(cells, "survey_rmse_h_m"),
        survey_rmse_v_m=_rmse(cells, "survey_rmse_v_m"),
        epoch_year=_epoch(cells),
        land_cover=LAND_COVERS.get(plain_words(cells.text("cover")), ""),
        survey=notes,
        occupations=(
            Occupation(easting, northing, height, cells.text("occupation"), cells.line, notes),
        ),
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
        crs=rows.crs,
    )
