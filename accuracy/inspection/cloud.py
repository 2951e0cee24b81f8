"""A point cloud: header, counts of all points, density, flight lines, times."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from accuracy.errors import FormatError
from accuracy.formats.las import LasCloud, open_las
from accuracy.formats.las_about import LasAbout, about_las
from accuracy.formats.scanning import reduce_points
from accuracy.georeferencing.reference import Reference
from accuracy.inspection import cloud_concerns
from accuracy.inspection import concerns as tell
from accuracy.inspection.bulk import PlaneCells
from accuracy.inspection.counting import PointCounter
from accuracy.inspection.place import METRES_PER_DEGREE
from accuracy.inspection.record import CloudFacts, Density, Inspection, PointCounts
from accuracy.inspection.systems import read_sources

#: Files with more points are read only when asked.
MOST_POINTS = 20_000_000
FINEST_CELL_M = 0.25


def inspect_cloud(
    path: Path, *, full: bool = False, on_read: Callable[[int, int], None] | None = None
) -> Inspection:
    """Look into a LAS or LAZ file.

    Parameters
    ----------
    full : bool
        Read all points however many there are; else only up to `MOST_POINTS`.
    on_read : callable, optional
        Told, while points are read, how many were, and of how many.

    Raises
    ------
    FormatError
        The header cannot be read.
    """
    about = about_las(path)
    cloud = open_las(path)
    cloud.on_read = on_read
    sources, reference, findings = read_sources(cloud.info.crs_evidence)
    points = cloud.info.points or 0
    counts, problem, not_counted = None, None, None
    if points > MOST_POINTS and not full:
        not_counted = f"{points} points: not counted, --full reads them all"
    else:
        try:
            counts = count_points(cloud, about, reference)
        except FormatError as error:
            problem = error.message
            not_counted = f"the points cannot be read: {error.message}"
    facts = CloudFacts(about=about, points=points, counts=counts, not_counted=not_counted)
    found = [
        *tell.of_findings((*cloud.info.findings, *cloud.reading_findings, *findings), "cloud"),
        *cloud_concerns.of_cloud(path.name, facts, reference),
    ]
    return Inspection(
        path=path,
        kind="point-cloud",
        format=cloud.info.format,
        size_bytes=cloud.info.size_bytes,
        bounds=_box(about, counts) if points else None,
        sources=sources,
        reference=reference,
        cloud=facts,
        concerns=tell.ordered(found),
        problem=problem,
    )


def _box(about: LasAbout, counts: PointCounts | None) -> tuple[float, float, float, float]:
    if counts is not None and counts.minimum is not None and counts.maximum is not None:
        return (*counts.minimum[:2], *counts.maximum[:2])
    return (*about.minimum[:2], *about.maximum[:2])


def count_points(cloud: LasCloud, about: LasAbout, reference: Reference) -> PointCounts:
    """Read all points once, in bounded memory.

    Raises
    ------
    FormatError
        Points cannot be read.
    """
    metres = _metres(reference)
    scale_x, scale_y, scale_z = about.scale
    shifts = (
        _shift(FINEST_CELL_M / metres, scale_x),
        _shift(FINEST_CELL_M / metres, scale_y),
        _shift(0.005, scale_z),
    )
    counter = reduce_points(cloud, PointCounter(shifts, timed=about.time_kind != "none"))
    timed = counter.time[0] <= counter.time[1]
    ground = counter.ground.percentiles(0.05, 0.5, 0.95)
    return PointCounts(
        points=counter.points,
        minimum=_coordinates(counter.low, about) if counter.points else None,
        maximum=_coordinates(counter.high, about) if counter.points else None,
        by_return=_nonzero(counter.returns),
        classes=_nonzero(counter.classes),
        lines=_nonzero(counter.lines),
        withheld=int(counter.flags[0]),
        synthetic=int(counter.flags[1]),
        overlap=int(counter.flags[2]),
        time_minimum=counter.time[0] if timed else None,
        time_maximum=counter.time[1] if timed else None,
        time_missing=counter.time_missing,
        time_zero=counter.time_zero,
        stray=counter.cells.stray(),
        stray_vertical=counter.heights.stray(),
        density=_density(counter.cells, about, reference),
        ground_z=None
        if ground is None
        else _three(tuple(value * scale_z + about.offset[2] for value in ground)),
    )


def _metres(reference: Reference) -> float:
    """Rough length of one stored unit in metres, for the size of cells."""
    if reference.horizontal_kind == "geographic":
        return METRES_PER_DEGREE
    unit = reference.horizontal_unit
    return 1.0 if unit is None else float(unit.metres)


def _shift(width: float, scale: float) -> int:
    return min(30, max(0, math.floor(math.log2(width / scale))))


def _density(cells: PlaneCells, about: LasAbout, reference: Reference) -> Density | None:
    found = None if reference.horizontal_kind == "geographic" else cells.density()
    if found is None:
        return None
    per_cell, used, per_any_cell, occupied = found
    width, height = (
        count * scale for count, scale in zip(cells.cell(), about.scale[:2], strict=True)
    )
    unit = reference.horizontal_unit
    metres = None if unit is None else float(unit.metres)
    return Density(
        per_square_unit=per_cell / (width * height),
        per_m2=None if metres is None else per_cell / (width * height * metres**2),
        overall_per_m2=None if metres is None else per_any_cell / (width * height * metres**2),
        covered_m2=None if metres is None else occupied * width * height * metres**2,
        cell_m=None if metres is None else math.sqrt(width * height) * metres,
        cells=used,
        inner=used < occupied,
    )


def _coordinates(stored: NDArray[np.int64], about: LasAbout) -> tuple[float, float, float]:
    return _three(
        tuple(
            int(value) * scale + offset
            for value, scale, offset in zip(stored, about.scale, about.offset, strict=True)
        )
    )


def _three(values: tuple[float, ...]) -> tuple[float, float, float]:
    x, y, z = values
    return x, y, z


def _nonzero(counts: NDArray[Any]) -> Mapping[int, int]:
    return MappingProxyType({int(at): int(counts[at]) for at in np.flatnonzero(counts)})
