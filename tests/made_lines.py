"""An invented analysis of flight lines, put together by hand: for views and records, without any points."""

from __future__ import annotations

from typing import Any

import numpy as np

from accuracy.flightlines.records import (
    ASSESSED,
    NO_DATA,
    ONE_LINE,
    SHOWN,
    Axis,
    Coverage,
    Differences,
    Duplicates,
    Estimate,
    FileOrder,
    Grids,
    LineRecord,
    LinesRecord,
    LinesSettings,
    Offset,
    PairRecord,
    Part,
    Profile,
    SiteTrends,
    Stray,
    TimeGap,
    Trends,
    Void,
    WithinPart,
)
from accuracy.job.sections import Claim
from accuracy.lines_of_job import DatasetLines, judged_lines
from accuracy.standards.library import load_standard
from accuracy.statement import Context

WEST, SOUTH = 412_000.0, 4_541_000.0
ROWS, COLS = 160, 220
START_S = 462_000_000.0
AXES: tuple[Axis, ...] = ("across", "along", "time")


def differences(n: int, mean_m: float, std_m: float) -> Differences:
    """Consistent statistics: RMSD^2 = mean^2 + s^2 (n - 1) / n."""
    if n == 0:
        return Differences(n=0)
    rmsd_m = float(np.sqrt(mean_m**2 + std_m**2 * (n - 1) / n))
    return Differences(
        n=n,
        mean_m=mean_m,
        std_m=std_m,
        rmsd_m=rmsd_m,
        p95_abs_m=abs(mean_m) + 1.7 * std_m,
        accuracy_95_m=1.96 * rmsd_m,
        max_abs_m=abs(mean_m) + 3.4 * std_m,
    )


def within(scale: float = 1.0) -> tuple[WithinPart, ...]:
    """Precision of the whole swath and its thirds."""
    cells_of: tuple[tuple[Part, int], ...] = (
        ("all", 930),
        ("left", 300),
        ("centre", 330),
        ("right", 300),
    )
    return tuple(
        WithinPart(
            part=part,
            literal_cells=cells,
            plane_cells=4 * cells,
            literal_rmsd_m=0.031 * scale,
            literal_mean_m=0.024 * scale,
            literal_min_m=-0.004,
            literal_max_m=0.052 * scale,
            slope_min=0.004,
            slope_max=0.09,
            range_max_m=0.09,
            plane_rms_m=0.0121,
            plane_p95_m=0.018,
        )
        for part, cells in cells_of
    )


def line(number: int, east_m: float, *, north: bool) -> LineRecord:
    """One line to the north or south, 160 m long."""
    ends = [(east_m, SOUTH + 2.0), (east_m, SOUTH + 80.0), (east_m, SOUTH + 158.0)]
    box = [(-45.0, 0.0), (45.0, 0.0), (45.0, 160.0), (-45.0, 160.0), (-45.0, 0.0)]
    return LineRecord(
        number=number,
        source_id=number,
        how="source-id",
        points=1_204_331 + number,
        first_returns=1_100_000,
        start_s=START_S + 60.0 * number,
        end_s=START_S + 60.0 * number + 32.0,
        heading_deg=0.0 if north else 180.0,
        length_m=156.0,
        speed_m_s=5.0,
        width_m=90.0,
        density_per_m2=76.4,
        spacing_m=0.1144,
        usable_m2=13_300.0,
        distribution=0.9987,
        distribution_cells=27_000,
        voids=1,
        voids_m2=2.4,
        within=within(),
        track=tuple(ends if north else ends[::-1]),
        outline=tuple((east_m + x, SOUTH + y) for x, y in box),
    )


def grids(fault: float = 0.0) -> Grids:
    """Two overlaps between three lines; `fault` tilts the second line across its track, metres per metre."""
    random = np.random.default_rng(4)
    east = WEST + np.arange(COLS) + 0.5
    first, second, third = (
        np.abs(east - centre) <= 45.0 for centre in (WEST + 50.0, WEST + 110.0, WEST + 170.0)
    )
    count = first.astype(int) + second + third
    lines = np.broadcast_to(count, (ROWS, COLS)).astype(np.uint8).copy()
    tilt = fault * (east - (WEST + 110.0))
    difference = random.normal(0.0, 0.008, (ROWS, COLS)) + np.where(second & first, tilt, -tilt)
    difference[lines < 2] = np.nan
    state = np.where(lines == 0, NO_DATA, np.where(lines == 1, ONE_LINE, ASSESSED)).astype(np.uint8)
    state[90:120, :][state[90:120, :] == ASSESSED] = SHOWN
    returns = random.poisson(76.0, (ROWS, COLS)) * lines
    lines[40:44, 20:24] = 0
    return Grids(
        west=WEST,
        north=SOUTH + ROWS,
        cell=1.0,
        cell_m=1.0,
        difference_m=difference.astype(np.float32),
        state=state,
        lines=lines,
        first_returns=returns.astype(np.uint32),
    )


def profile(axis: Axis, fault: float) -> Profile:
    """Make a tilt across and a level run along the track, in eight bins of 400 cells."""
    at = np.linspace(-14.0, 14.0, 8) if axis == "across" else np.linspace(5.0, 155.0, 8)
    slope = 2.0 * fault if axis == "across" else 0.0
    return Profile(
        axis=axis,
        at=tuple(at.tolist()),
        mean_m=tuple((0.004 + slope * at).tolist()),
        std_m=(0.008,) * 8,
        n=(400,) * 8,
    )


def pair(earlier: int, later: int, *, fault: float = 0.0) -> PairRecord:
    """Two neighbouring lines in opposite directions."""
    middle = WEST + 50.0 + 60.0 * earlier - 30.0
    box = [(-15.0, 0.0), (15.0, 0.0), (15.0, 160.0), (-15.0, 160.0), (-15.0, 0.0)]
    return PairRecord(
        earlier=earlier,
        later=later,
        kind="opposite",
        differences=differences(3900, 0.004 + 30.0 * fault, 0.008 + 9.0 * fault),
        expected_rmsd_m=0.0079,
        plain=differences(4800, 0.006, 0.044),
        trends=Trends(
            cells=3900,
            blocks=8,
            shift_m=Estimate(value=0.004 + 30.0 * fault, standard_error=0.0011),
            across=Estimate(value=2.0 * fault, standard_error=0.00012),
            along=Estimate(value=0.00001, standard_error=0.00004),
            time_m_s=Estimate(value=1e-5),
            time_along_correlation=-1.0,
        ),
        offset=Offset(
            identified="none" if earlier == 1 else "both",
            cells=3900,
            blocks=8,
            reason="flat: cannot be seen" if earlier == 1 else "slopes of several aspects",
            east_m=None if earlier == 1 else Estimate(value=0.021, standard_error=0.03),
            north_m=None if earlier == 1 else Estimate(value=-0.008, standard_error=0.02),
        ),
        left_out={"few-points": 40, "multiple-returns": 800, "steep": 12},
        overlap_m2=4800.0,
        overlap_width_m=30.0,
        overlap_least_width_m=28.0,
        overlap_share=0.33,
        profiles=tuple(profile(axis, fault) for axis in AXES),
        place_of_max=(middle, SOUTH + 20.0),
        outline=tuple((middle + x, SOUTH + y) for x, y in box),
    )


def made_lines(*, fault: float = 0.0, **changed: Any) -> LinesRecord:
    """Make a sound analysis of three lines; `fault` is a tilt of the second in metres per metre."""
    values: dict[str, Any] = {
        "cell_m": 1.0,
        "literal_cell_m": 2.0,
        "horizontal_unit_m": 1.0,
        "vertical_unit_m": 1.0,
        "points": 3_613_000,
        "withheld": 212,
        "noise": 40,
        "untimed": 0,
        "classes": {1: 400_000, 2: 3_212_960, 7: 40},
        "how": "source-id",
        "lines": (
            line(1, WEST + 50.0, north=True),
            line(2, WEST + 110.0, north=False),
            line(3, WEST + 170.0, north=True),
        ),
        "stray": (Stray(source_id=9, points=14, reason="no way flown"),),
        "pairs": (pair(1, 2, fault=fault), pair(2, 3, fault=-fault)),
        "differences": differences(7800, 0.004, 0.008 + 32.0 * abs(fault)),
        "expected_rmsd_m": 0.0079,
        "plain": differences(9600, 0.006, 0.044),
        "trends": SiteTrends(
            cells=7800,
            blocks=16,
            drift_m_s=Estimate(value=1e-6, standard_error=2e-6),
            roll_rad=Estimate(value=fault / 2 + 1e-6, standard_error=0.00004),
            correlation=0.2,
            shift_m=Estimate(value=0.003, standard_error=0.001),
        ),
        "within": within(),
        "coverage": Coverage(
            anps_m=0.35,
            anps_designed=True,
            density_per_m2=112.0,
            covered_m2=33_000.0,
            line_density_per_m2=76.4,
            line_spacing_m=0.1144,
            void_limit_m2=1.96,
            voids=(
                Void(
                    line=1,
                    area_m2=16.2,
                    place=(WEST + 22.0, SOUTH + 118.0),
                    box=(WEST + 20.0, SOUTH + 116.0, WEST + 24.0, SOUTH + 120.0),
                ),
                Void(
                    line=2,
                    area_m2=2.4,
                    place=(WEST + 80.0, SOUTH + 60.0),
                    filled=True,
                    box=(WEST + 79.0, SOUTH + 59.0, WEST + 81.0, SOUTH + 61.0),
                ),
            ),
            voids_found=2,
            voids_unfilled=1,
            distribution=0.9987,
            distribution_cells=81_000,
        ),
        "duplicates": Duplicates(surplus=0.0),
        "order": (
            FileOrder(name="tile-1.laz", points=3_613_000, steps_back=3, largest_back_s=0.02),
        ),
        "gaps": (TimeGap(line=2, start_s=START_S + 130.0, end_s=START_S + 134.5),),
        "grids": grids(fault),
    }
    return LinesRecord(**(values | changed))


def made_dataset(
    *,
    fault: float = 0.0,
    standard: str = "usgs-lbs-2025a",
    claimed: dict[str, Any] | None = None,
    name: str = "ground cloud",
    **changed: Any,
) -> DatasetLines:
    """Judge that analysis by a document, as a job would."""
    claim = Claim(dataset=name, standard=standard, **(claimed or {"quality_level": "QL1"}))
    return judged_lines(
        made_lines(fault=fault, **changed),
        LinesSettings(design_anps_m=0.35),
        [(load_standard(standard), claim)],
        Context("Alder Creek", name, standalone=False),
        design_source="of the claim by usgs-lbs-2025a",
    )
