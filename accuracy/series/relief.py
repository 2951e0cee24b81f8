"""The shaded relief under a plan: of the deliverable itself, or of a raster of the job in the same plane."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from accuracy.deliverables import Deliverable
from accuracy.errors import FormatError
from accuracy.georeferencing.crs import same_horizontal
from accuracy.residuals import ResidualRow
from accuracy.series.numbers import rounded
from accuracy.series.shading import Box, NotCheap, coarse_ground, shade
from accuracy.units import LengthUnit, from_metres, to_metres

#: How far the relief reaches beyond the points, as a share of the longer side of their extent; at least this
#: many metres.
_BEYOND, _LEAST_BEYOND_M = 0.25, 20.0


@dataclass(frozen=True)
class Reliefs:
    """The record of the relief under each dataset's plan, and the pictures by their file names."""

    records: Mapping[str, dict[str, Any]]
    pictures: Mapping[str, bytes]


def draw_reliefs(
    deliverables: Sequence[Deliverable], rows: Sequence[Sequence[ResidualRow]]
) -> Reliefs:
    """Shade the ground under every plan where a raster can be read cheaply.

    Parameters
    ----------
    deliverables : sequence of Deliverable
        All of a job.
    rows : sequence of sequence of ResidualRow
        Of each of them.

    Returns
    -------
    Reliefs
        A record is the value under ``plan.relief`` in ``series`` of ``result.schema.json``; a picture is a
        file beside ``result.json``. Plans of the same ground and places share one.
    """
    drawn: dict[tuple[str, Box], dict[str, Any]] = {}
    pictures: dict[str, bytes] = {}
    records = {}
    for item, its in zip(deliverables, rows, strict=True):
        ground, box_m = _ground_of(item, deliverables), _around(its)
        if ground is None:
            records[item.setting.name] = _none("no raster of this job lies in the same plane")
        elif box_m is None:
            records[item.setting.name] = _none("no point has a place in metres")
        else:
            key = (ground.setting.name, box_m)
            if key not in drawn:
                drawn[key], picture = _draw(ground, box_m, f"relief-{len(pictures) + 1}.png")
                pictures |= picture
            records[item.setting.name] = drawn[key]
    return Reliefs(records, pictures)


def _none(why: str) -> dict[str, Any]:
    return {"file": None, "why": why}


def _ground_of(item: Deliverable, every: Sequence[Deliverable]) -> Deliverable | None:
    """Choose the raster to shade: the deliverable's own, else the first in the same plane."""
    wkt = item.reference.horizontal_wkt
    for other in (item, *every):
        theirs = other.reference
        if not other.rasters or theirs.horizontal_unit is None:
            continue
        if other is item:
            return other
        if item.setting.local or other.setting.local:
            if item.setting.local and other.setting.local:
                return other
        elif (
            wkt is not None
            and theirs.horizontal_wkt is not None
            and theirs.epoch_year == item.reference.epoch_year
            and same_horizontal(wkt, theirs.horizontal_wkt)
        ):
            return other
    return None


def _around(rows: Sequence[ResidualRow]) -> Box | None:
    """Give the box of all points with some ground around it; metres."""
    places = [
        (row.surveyed.east_m, row.surveyed.north_m)
        for row in rows
        if row.surveyed.east_m is not None and row.surveyed.north_m is not None
    ]
    if not places:
        return None
    low, high = np.min(places, axis=0), np.max(places, axis=0)
    beyond_m = max(_BEYOND * float((high - low).max()), _LEAST_BEYOND_M)
    west, south = (float(v) - beyond_m for v in low)
    east, north = (float(v) + beyond_m for v in high)
    return west, south, east, north


def _draw(ground: Deliverable, box_m: Box, file: str) -> tuple[dict[str, Any], dict[str, bytes]]:
    unit = ground.reference.horizontal_unit or LengthUnit.METRE
    vertical = ground.reference.vertical_unit or unit
    west, south, east, north = (float(from_metres(v, unit)) for v in box_m)
    covered = [raster.info.bounds for raster in ground.rasters]
    box = (
        max(west, min(b[0] for b in covered)),
        max(south, min(b[1] for b in covered)),
        min(east, max(b[2] for b in covered)),
        min(north, max(b[3] for b in covered)),
    )
    if box[0] >= box[2] or box[1] >= box[3]:
        return _none(f"{ground.setting.name} lies elsewhere"), {}
    try:
        coarse = coarse_ground(ground.rasters, box)
    except NotCheap as reason:
        return _none(f"{ground.setting.name}: {reason}"), {}
    except FormatError:  # told by the sampling wherever it matters to a figure
        return _none(f"{ground.setting.name} cannot be read"), {}
    finally:
        for raster in ground.rasters:
            raster.close()
    if np.isnan(coarse.heights).all():
        return _none(f"{ground.setting.name} has no heights around the points"), {}
    heights_m = np.asarray(to_metres(coarse.heights, vertical))
    wide_m, high_m = (float(to_metres(size, unit)) for size in coarse.cell)
    picture, exaggeration = shade(heights_m, (wide_m, high_m))
    record = {
        "file": file,
        "sha256": hashlib.sha256(picture).hexdigest(),
        "of": ground.setting.name,
        "box_m": [rounded(to_metres(v, unit)) for v in coarse.box],
        "cell_m": rounded(wide_m),
        "exaggeration": exaggeration,
        "why": None,
    }
    return record, {file: picture}
