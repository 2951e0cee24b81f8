"""An elevation raster: header, reference system, cells, heights."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np

from accuracy.errors import FormatError
from accuracy.findings import Severity
from accuracy.formats import RasterSurface, open_raster
from accuracy.formats.raster import CUSTOMARY_NO_DATA, LARGEST_HEIGHT
from accuracy.formats.raster_about import BandAbout, RasterAbout, about_raster
from accuracy.georeferencing.reference import Reference
from accuracy.inspection import concerns as tell
from accuracy.inspection.cloud_concerns import HEIGHTS_M
from accuracy.inspection.concerns import concern
from accuracy.inspection.place import of_reference
from accuracy.inspection.record import BandCells, Concern, Inspection, RasterFacts
from accuracy.inspection.systems import read_sources
from accuracy.units import LengthUnit

#: Rasters with more cells are read only when asked.
MOST_CELLS = 50_000_000
MOST_BANDS = 8
WINDOW = 1024  # cells per side read at a time
_FEET = ("ft", "foot", "feet", "us-ft", "ftus")
_METRES = ("m", "metre", "meter", "metres", "meters")


def inspect_raster(path: Path, *, full: bool = False) -> Inspection:
    """Look into a raster file.

    Parameters
    ----------
    full : bool
        Read all cells however many there are; else only up to `MOST_CELLS`.

    Raises
    ------
    FormatError
        The header cannot be read.
    """
    about = about_raster(path)
    sources, reference, findings = read_sources(about.crs_evidence)
    found = tell.of_findings(findings, "raster")
    values = [band for band in about.bands if band.colour != "alpha"]
    counted: list[BandCells] = []
    not_counted, problem, bounds = None, None, None
    cells = about.shape[0] * about.shape[1]
    if len(values) > 1:
        found.append(_several(path.name, values))
    for band in values[:MOST_BANDS]:
        try:
            surface = open_raster(path, band.number)
        except FormatError as error:
            found.append(_unusable(path.name, error))
            continue
        bounds = surface.info.bounds
        found += tell.of_findings(surface.info.findings, "raster")
        try:
            if cells > MOST_CELLS and not full:
                not_counted = f"{cells} cells: not read, --full reads them all"
            else:
                counted.append(count_cells(surface, band.number))
        except FormatError as error:
            problem = not_counted = error.message
            found.append(_unreadable(path.name, error))
            break
        finally:
            surface.close()
    facts = RasterFacts(
        about=about,
        cell_size=_cell_size(about),
        rotation_deg=_rotation_deg(about),
        counted=tuple(counted),
        not_counted=not_counted,
    )
    found += of_reference(path.name, _with_band_unit(reference, values), bounds, "raster")
    found += _of_raster(path.name, facts, reference)
    return Inspection(
        path=path,
        kind="raster",
        format=", ".join(
            [
                {"GTiff": "GeoTIFF", "AAIGrid": "ASCII grid"}.get(about.driver, about.driver),
                f"{about.shape[1]} x {about.shape[0]} cells",
                *dict.fromkeys(band.dtype for band in about.bands),
                *([about.compression] if about.compression else []),
            ]
        ),
        size_bytes=path.stat().st_size,
        bounds=bounds,
        sources=sources,
        reference=reference,
        raster=facts,
        concerns=tell.ordered(_once(found)),
        problem=problem,
    )


def count_cells(surface: RasterSurface, band: int) -> BandCells:
    """Read all cells of a band window by window.

    Raises
    ------
    FormatError
        Cells cannot be read.
    """
    rows, cols = surface.shape
    valid, low, high = 0, math.inf, -math.inf
    for row in range(0, rows, WINDOW):
        for col in range(0, cols, WINDOW):
            values = surface.patch(
                row, col, min(WINDOW, rows - row), min(WINDOW, cols - col)
            ).values
            kept = values[~np.isnan(values)]
            valid += kept.size
            if kept.size:
                low, high = min(low, float(kept.min())), max(high, float(kept.max()))
    return BandCells(
        band=band,
        cells=rows * cols,
        valid=valid,
        minimum=low if valid else None,
        maximum=high if valid else None,
    )


def _cell_size(about: RasterAbout) -> tuple[float, float] | None:
    if about.transform is None:
        return None
    a, b, _, d, e, _ = about.transform
    return math.hypot(a, d), math.hypot(b, e)


def _rotation_deg(about: RasterAbout) -> float | None:
    if about.transform is None:
        return None
    return math.degrees(math.atan2(about.transform[3], about.transform[0])) + 0.0


def _with_band_unit(reference: Reference, bands: list[BandAbout]) -> Reference:
    """Take the unit that a band names where the system is silent; only metres are named plainly."""
    units = {band.unit.strip().casefold() for band in bands if band.unit}
    if reference.vertical_unit is None and units and units <= set(_METRES):
        return replace(reference, vertical_unit=LengthUnit.METRE)
    return reference


def _once(found: list[Concern]) -> list[Concern]:
    return [item for at, item in enumerate(found) if item not in found[:at]]


def _several(name: str, bands: list[BandAbout]) -> Concern:
    told = ", ".join(f"{band.number} ({band.description or band.colour})" for band in bands[:12])
    return concern(
        "inspect-band",
        Severity.WARNING,
        f"{name}: {len(bands)} bands, and nothing says which one holds heights: {told}",
        "a job that does not name the band is refused; the wrong band gives wrong heights",
        remedy="name it with band in the dataset's section",
        component="vertical",
    )


def _unusable(name: str, error: FormatError) -> Concern:
    return concern(
        "inspect-unusable",
        Severity.BLOCKING,
        f"{name}: {error.message}",
        "no heights can be taken from it",
        remedy=error.remedy or "",
        component="vertical",
    )


def _unreadable(name: str, error: FormatError) -> Concern:
    return concern(
        "inspect-unreadable",
        Severity.BLOCKING,
        f"{name}: {error.message}",
        "nothing can be compared with it",
        remedy=error.remedy or "",
    )


def _of_raster(name: str, facts: RasterFacts, reference: Reference) -> Iterator[Concern]:
    yield from _cells(name, facts)
    values = {band.number: band for band in facts.about.bands}
    for counted in facts.counted:
        band = values[counted.band]
        label = name if len(values) == 1 else f"{name}, band {band.number}"
        yield from _band_unit(label, band, reference)
        if counted.minimum is None or counted.maximum is None:
            yield concern(
                "inspect-empty",
                Severity.BLOCKING,
                f"{label}: no cell has data",
                "no checkpoint gets a height from it",
                remedy="check the no-data number, or export it again",
            )
            continue
        yield from _values(label, band, counted.minimum, counted.maximum, reference)


def _cells(name: str, facts: RasterFacts) -> Iterator[Concern]:
    if facts.about.transform is None:
        return
    _, b, _, d, e, _ = facts.about.transform
    told = []
    if b or d:
        told.append(f"rows run {facts.rotation_deg:.3f} degrees against east")
    elif e > 0:
        told.append("the first row is the southernmost")
    if facts.about.area_or_point == "Point":
        told.append(
            "AREA_OR_POINT is Point: the file's tie point is the centre of a cell, and the half cell is "
            "already in the bounds shown"
        )
    if told:
        yield concern(
            "inspect-cells",
            Severity.NOTE,
            f"{name}: {'; '.join(told)}",
            "none here; software that takes cells the plain way is off by half a cell or more",
        )


def _band_unit(name: str, band: BandAbout, reference: Reference) -> Iterator[Concern]:
    unit = band.unit.strip().casefold()
    if unit in ("ft", "foot", "feet"):
        yield concern(
            "inspect-foot-kind",
            Severity.WARNING,
            f'{name}: the unit of heights is called "{band.unit}", and not which foot',
            "the two feet differ by 2 parts per million: 2 mm at 1000 ft; as metres it would be a factor of "
            "3.28",
            remedy="state the vertical system in the job, such as EPSG:6360 for US survey feet",
            component="vertical",
        )
    up = reference.vertical_unit
    if (
        up is not None
        and unit in (*_FEET, *_METRES)
        and (unit in _METRES) != (up is LengthUnit.METRE)
    ):
        yield concern(
            "crs-contradiction",
            Severity.BLOCKING,
            f'{name}: the unit of heights is called "{band.unit}", but {reference.vertical} is in '
            f"{up.print_name}",
            "heights would be wrong by a factor of 3.28 if the wrong one is believed",
            remedy="find out which is right, and write the file again",
            component="vertical",
        )


def _values(
    name: str, band: BandAbout, low: float, high: float, reference: Reference
) -> Iterator[Concern]:
    unit = reference.vertical_unit or reference.horizontal_unit
    factor = float((unit or LengthUnit.FOOT).metres)
    suspects = [v for v in (low, high) if v in CUSTOMARY_NO_DATA or abs(v) > LARGEST_HEIGHT]
    if suspects:
        yield concern(
            "inspect-no-data",
            Severity.WARNING,
            f"{name}: the cells hold {suspects[0]:g}, and the file does not declare that as no data",
            "heights beside such cells are refused one by one; nothing is averaged with them",
            remedy="declare the number as no data",
            component="vertical",
        )
    elif low * factor < HEIGHTS_M[0] or high * factor > HEIGHTS_M[1]:
        yield concern(
            "inspect-heights",
            Severity.WARNING,
            f"{name}: values from {low:.6g} to {high:.6g}, which no ground on earth has",
            "these are no heights, or the unit, scale or offset is wrong",
            remedy="check the band, its scale and its unit",
            component="vertical",
        )
    elif low == high:
        yield concern(
            "inspect-heights",
            Severity.WARNING,
            f"{name}: all cells are {low:g}",
            "every residual is that number less the height of the checkpoint",
            remedy="export the heights",
            component="vertical",
        )
    if "int" in band.dtype and abs(band.scale) * factor > 0.02:
        step_m = abs(band.scale) * factor
        yield concern(
            "inspect-coarse",
            Severity.WARNING,
            f"{name}: heights are stored as {band.dtype} in steps of {band.scale:g}",
            f"rounding alone adds {step_m / math.sqrt(12):.3f} m to the standard deviation of heights",
            remedy="export it again as float32",
            component="vertical",
        )
