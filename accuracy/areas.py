"""The area that each deliverable of a job is judged on: the outline of ``[area]``, else its own footprint."""

from __future__ import annotations

from collections.abc import Sequence

from accuracy.deliverables import Deliverable
from accuracy.findings import Finding
from accuracy.formats.outlines import Outline, read_outline
from accuracy.georeferencing.crs import same_horizontal
from accuracy.job import Job
from accuracy.layout.area_findings import coverage
from accuracy.layout.footprint import MOST_POINTS, Footprint, of_clouds, of_rasters
from accuracy.layout.outline import area_of


def areas(
    job: Job, deliverables: Sequence[Deliverable], most_points: int = MOST_POINTS
) -> tuple[list[Footprint | None], tuple[Finding, ...]]:
    """Give the area of each deliverable, metres of its plane; None where it is not known.

    A table of measured points has no footprint: it takes that of a cloud or raster in the same plane.

    Raises
    ------
    FormatError
        The outline that the job names cannot be read.
    """
    outline = None
    if job.area is not None:
        outline = read_outline(job.area.located.path, job.area.layer)
    own = [_own(item, most_points) for item in deliverables]
    found: list[Footprint | None] = []
    findings: list[Finding] = []
    for index, item in enumerate(deliverables):
        area = None
        if outline is not None:
            area, more = _outlined(job, outline, item)
            findings += more
            mine = own[index]
            if area is not None and mine is not None:
                findings.append(coverage(area, mine, item.setting.name))
        found.append(area or own[index] or _neighbour(index, deliverables, own))
    return found, tuple(findings)


def _outlined(
    job: Job, outline: Outline, item: Deliverable
) -> tuple[Footprint | None, tuple[Finding, ...]]:
    said = job.area.crs if job.area is not None else None
    return area_of(outline, said, item.reference, item.setting.name)


def _own(item: Deliverable, most_points: int) -> Footprint | None:
    unit = item.reference.horizontal_unit
    if unit is None:
        return None
    if item.clouds:
        return of_clouds(item.clouds, unit, most_points)
    return of_rasters(item.rasters, unit) if item.rasters else None


def _neighbour(
    index: int, deliverables: Sequence[Deliverable], own: Sequence[Footprint | None]
) -> Footprint | None:
    mine = deliverables[index]
    for item, area in zip(deliverables, own, strict=True):
        wkt, its = mine.reference.horizontal_wkt, item.reference.horizontal_wkt
        if area is None or item.setting.local != mine.setting.local:
            continue
        if wkt is not None and its is not None and same_horizontal(wkt, its):
            return area
    return None
