"""The demo: an invented flight over an invented site, with a job in which every kind of verdict occurs.

Everything follows from one seed, so the same seed gives the same bytes; `truth.json` tells what was put
in. Place, firms and people are invented; the coordinates fall where they fall and mean nothing there.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from accuracy.errors import ResultError, UsageError
from accuracy.formats.las_write import write_points
from accuracy.formats.raster_write import write_raster
from accuracy.simulation import flight
from accuracy.simulation.demo_base import antex_text, observation_text
from accuracy.simulation.demo_job import CRS_WKT, JOB_TEXT
from accuracy.simulation.demo_site import (
    BLUNDER,
    BLUNDER_M,
    DEM_BIAS_M,
    DEM_CELL_M,
    DISTURBED,
    DISTURBED_M,
    FLOWN,
    ORTHO_STD_M,
    PLANTS,
    SCANNER,
    SITE,
    SURVEY_STD_H_M,
    SURVEY_STD_V_M,
    Mark,
    Measured,
    fly,
    measure,
    raster_heights_m,
    survey,
)
from accuracy.simulation.demo_trajectory import trajectory_table

TRUTH_FORMAT = "accuracy-demo-truth"
SEAM_M = 4.0  # both tiles hold the points of this strip
MEASURED, MEASURED_EVENING = 33, 12


@dataclass(frozen=True)
class DemoJob:
    """What `build_demo` made: the folder, the job file in it, and every file with what it is."""

    folder: Path
    job: Path
    files: tuple[tuple[Path, str], ...]


def build_demo(folder: Path, seed: int = 7) -> DemoJob:
    """Write the demo into a folder.

    Parameters
    ----------
    folder : Path
        New, empty, or holding an earlier demo, which is replaced.
    seed : int
        Not negative; the same seed gives the same bytes.

    Raises
    ------
    UsageError
        The seed is negative.
    ResultError, FormatError
        The folder holds something else, or cannot be written.
    """
    if seed < 0:
        raise UsageError(f"the seed is {seed}", remedy="give a seed of 0 or more")
    _refuse_foreign(folder)

    # a stream for each part, so that changing one leaves the others as they are
    randoms = [np.random.Generator(np.random.PCG64([seed, part])) for part in range(5)]
    marks, points = survey(randoms[0]), fly(randoms[1])
    measured = {
        "measured.csv": measure(marks, MEASURED, randoms[2]),
        "measured_evening.csv": measure(marks, MEASURED_EVENING, randoms[3]),
    }
    middle_m = SITE.east_m + SITE.width_m / 2
    tiles = {
        "west": points["x"] <= middle_m + SEAM_M / 2,
        "east": points["x"] >= middle_m - SEAM_M / 2,
    }
    truth = _truth(seed, marks, points, tiles, measured)

    files: list[tuple[Path, str]] = []

    def said(name: str, what: str) -> Path:
        files.append((folder / name, what))
        return folder / name

    try:
        (folder / "cloud").mkdir(parents=True, exist_ok=True)
        (folder / "checkpoints").mkdir(exist_ok=True)
        (folder / "base").mkdir(exist_ok=True)
        # first, because it marks the folder as ours should anything stop us now
        _write_text(said("truth.json", "what was put in: the true answers"), _json(truth))
        _write_text(
            said("job.toml", "the job: what is tested against what, and what is claimed"), JOB_TEXT
        )
        _write_text(
            said("checkpoints/site.csv", "surveyed checkpoints and control points"), _table(marks)
        )
        for name, inside in tiles.items():
            write_points(
                said(
                    f"cloud/tile_{name}.laz", f"point cloud, {name} half, with a strip of the other"
                ),
                points={field: values[inside] for field, values in points.items()},
                point_format=6,
                version="1.4",
                scale=(0.001, 0.001, 0.001),
                offset=(SITE.east_m, SITE.north_m, 0.0),
                wkt=CRS_WKT,
                compress=True,
                created=FLOWN,
            )
        write_raster(
            said(
                "dem.tif", f"elevation raster, {DEM_CELL_M} m cells, made from unadjusted heights"
            ),
            raster_heights_m(),
            (DEM_CELL_M, 0.0, SITE.east_m, 0.0, -DEM_CELL_M, SITE.north_m + SITE.depth_m),
            CRS_WKT,
        )
        for name, what in (
            ("measured.csv", "targets measured in the orthophoto"),
            ("measured_evening.csv", "the few targets seen in the evening orthophoto"),
        ):
            _write_text(said(name, what), _measured_table(measured[name]))
        _write_text(
            said("base/pillar2.26o", "header of the base's observation file"), observation_text()
        )
        _write_text(said("base/antennas.atx", "calibration of the base's antenna"), antex_text())
        _write_text(
            said("trajectory.csv", "the flown trajectory, five rows a second"),
            trajectory_table(randoms[4]),
        )
    except OSError as error:
        raise ResultError(
            f"the demo cannot be written: {error.strerror or error}",
            where=str(folder),
            remedy="name a folder that you may write to, with a few megabytes free",
        ) from error
    return DemoJob(folder, folder / "job.toml", tuple(files))


def _refuse_foreign(folder: Path) -> None:
    try:
        if not folder.exists() or (folder.is_dir() and not any(folder.iterdir())):
            return
        with (folder / "truth.json").open(encoding="utf-8") as file:
            if json.load(file).get("format") == TRUTH_FORMAT:
                return
    except (OSError, ValueError, AttributeError):
        pass  # no marker that can be read: not ours
    raise ResultError(
        "the folder exists and was not made by the demo; nothing was written",
        where=str(folder),
        remedy="name a new or empty folder",
    )


def _truth(
    seed: int,
    marks: Sequence[Mark],
    points: Mapping[str, NDArray[Any]],
    tiles: Mapping[str, NDArray[np.bool_]],
    measured: Mapping[str, Measured],
) -> dict[str, Any]:
    """Collect what was put in and what a right comparison must therefore find."""
    tested = {
        cover: np.array(
            [mark.error_m[2] for mark in marks if (mark.cover, mark.use) == (cover, "test")]
        )
        for cover in ("non-vegetated", "vegetated")
    }
    # Linear interpolation at a random place in a triangle carries half the variance of one point:
    # the weights are uniform on the simplex, and three times E[w^2] = 1/6 is 1/2 (closed form).
    scan_var, grass_var = SCANNER.range_noise_m**2 / 2, PLANTS.grass_std_m**2 / 2
    expected = [
        _expect("ground cloud", "up", "non-vegetated", -tested["non-vegetated"], 0.005, scan_var),
        _expect(
            "ground cloud",
            "up",
            "vegetated",
            PLANTS.grass_mean_m - tested["vegetated"],
            0.025,
            scan_var + grass_var,
        ),
        _expect(
            "elevation raster", "up", "non-vegetated", DEM_BIAS_M - tested["non-vegetated"], 0.002
        ),
        _expect("elevation raster", "up", "vegetated", DEM_BIAS_M - tested["vegetated"], 0.002),
    ]
    by_id = {mark.id: mark for mark in marks}
    for name, file in (
        ("orthophoto targets", "measured.csv"),
        ("evening targets", "measured_evening.csv"),
    ):
        residual_m = np.array(
            [np.subtract(at_m, by_id[each].surveyed_m[:2]) for each, at_m in measured[file].items()]
        )
        for axis, component in enumerate(("east", "north")):
            expected.append(_expect(name, component, "non-vegetated", residual_m[:, axis], 1e-6))
    return {
        "format": TRUTH_FORMAT,
        "format_version": 1,
        "seed": seed,
        "terrain": asdict(SITE),
        "scanner": asdict(SCANNER),
        "vegetation": asdict(PLANTS),
        "injected": {
            "survey_std_h_m": SURVEY_STD_H_M,
            "survey_std_v_m": SURVEY_STD_V_M,
            "blunder": {
                "id": BLUNDER,
                "up_m": BLUNDER_M,
                "cause": "rod height entered 0.20 m too short",
            },
            "excluded": {
                "id": DISTURBED,
                "up_m": DISTURBED_M,
                "cause": "ground cut away at the mark after the survey",
            },
            "dem_bias_m": DEM_BIAS_M,
            "ortho_std_per_axis_m": ORTHO_STD_M,
            "cloud_bias_m": 0.0,
        },
        "points": {
            "flown": len(points["x"]),
            "ground": int(np.count_nonzero(points["classification"] == flight.GROUND)),
            "noise": int(np.count_nonzero(points["classification"] == flight.NOISE)),
            "withheld": int(np.count_nonzero(points["withheld"])),
            "tiles": {
                f"cloud/tile_{name}.laz": int(inside.sum()) for name, inside in tiles.items()
            },
            "in_both_tiles": int(np.count_nonzero(np.logical_and(*tiles.values()))),
        },
        "marks": [asdict(mark) for mark in marks],
        "expected": expected,
        "claims": [
            {"dataset": "ground cloud", "standard": "asprs-2024", "verdict": "passes"},
            {"dataset": "elevation raster", "standard": "asprs-2024", "verdict": "fails"},
            {"dataset": "evening targets", "standard": "asprs-2024", "verdict": "no-statement"},
            {"dataset": "orthophoto targets", "standard": "nssda-1998", "verdict": "reported"},
        ],
    }


def _expect(
    dataset: str,
    component: str,
    cover: str,
    residual_m: NDArray[np.float64],
    within_m: float,
    extra_variance_m2: float = 0.0,
) -> dict[str, Any]:
    """Mean and RMSE of residuals (measured minus surveyed) that follow from what was put in.

    `extra_variance_m2` is the variance of what is random and not known point by point; `within_m` is how
    far chance may take the figures from these.
    """
    return {
        "dataset": dataset,
        "component": component,
        "cover": cover,
        "n": len(residual_m),
        "mean_m": float(np.mean(residual_m)),
        "rmse_m": float(np.sqrt(np.mean(residual_m**2) + extra_variance_m2)),
        "within_m": within_m,
    }


def _table(marks: Sequence[Mark]) -> str:
    rows = [
        f"{mark.id},{mark.surveyed_m[0]:.3f},{mark.surveyed_m[1]:.3f},{mark.surveyed_m[2]:.3f},"
        f"{mark.cover},{mark.description}"
        for mark in marks
    ]
    return "\n".join(["id,easting,northing,height,cover,description", *rows, ""])


def _measured_table(measured: Measured) -> str:
    rows = [f"{name},{east:.3f},{north:.3f}" for name, (east, north) in measured.items()]
    return "\n".join(["id,easting,northing", *rows, ""])


def _json(truth: Mapping[str, Any]) -> str:
    return json.dumps(truth, indent=1, ensure_ascii=False) + "\n"


def _write_text(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8", newline="\n")
