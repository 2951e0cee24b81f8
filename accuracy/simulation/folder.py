"""A simulated flight as a folder: everything a crew would hand in, and the truth. Whole, or not at all."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from accuracy.errors import FormatError, ResultError
from accuracy.formats.las_write import write_points
from accuracy.formats.raster_write import write_raster
from accuracy.simulation.base_files import antex_text, observation_text
from accuracy.simulation.cloud import cloud_of, raster_of
from accuracy.simulation.folder_job import job_text
from accuracy.simulation.folder_tables import (
    checkpoint_table,
    measured_table,
    target_table,
    trajectory_table,
)
from accuracy.simulation.memory import compared, prepare
from accuracy.simulation.near import Flight
from accuracy.simulation.scenario_record import Scenario
from accuracy.simulation.scenarios import scenario as scenario_of
from accuracy.simulation.site_wkt import geokeys_of, wkt_of
from accuracy.simulation.truth import truth_of, truth_text

#: How the cloud is written: name -> suffix, LAS version, point format with and without colours.
CLOUDS: Mapping[str, tuple[str, str, int, int]] = {
    "laz": ("laz", "1.4", 7, 6),
    "las": ("las", "1.4", 7, 6),
    "las-1.2": ("las", "1.2", 3, 1),
}


@dataclass(frozen=True)
class Written:
    """What `write_scenario` made: the folder, the job file in it, and every file with what it is."""

    folder: Path
    job: Path
    files: tuple[tuple[Path, str], ...]
    points: int


def write_scenario(
    folder: Path,
    scenario: str | Scenario,
    faults: Mapping[str, float] | None = None,
    seed: int = 1,
    *,
    cloud: str = "laz",
    progress: Callable[[str], None] = lambda text: None,
) -> Written:
    """Write a flight of a scenario into a new folder.

    Parameters
    ----------
    folder : Path
        New or empty.
    scenario, faults, seed
        As `accuracy.simulation.memory.simulate`; the same give the same bytes.
    cloud : str
        One of `CLOUDS`.
    progress : callable
        Told what is being done.

    Raises
    ------
    UsageError
        Scenario, fault, size or seed cannot be used.
    ResultError
        The folder holds something, or cannot be written; nothing is left behind.
    """
    flight = prepare(
        scenario_of(scenario) if isinstance(scenario, str) else scenario, faults or {}, seed
    )
    folder = _free(folder)
    aside = folder.with_name(f".{folder.name}.new")
    try:
        if aside.exists():  # left by a run that was killed
            shutil.rmtree(aside)
        (aside / "base").mkdir(parents=True)
        files, points = _write(aside, flight, cloud, progress)
        if folder.exists():
            folder.rmdir()  # empty: looked at before
        aside.rename(folder)
    except (OSError, FormatError) as error:
        _remove(aside)
        reason = error.message if isinstance(error, FormatError) else error.strerror or str(error)
        raise ResultError(
            f"the scenario cannot be written: {reason}",
            where=str(folder),
            remedy="name a folder that you may write to, with a few hundred megabytes free; nothing was left",
        ) from error
    except BaseException:
        _remove(aside)
        raise
    return Written(
        folder,
        folder / "job.toml",
        tuple((folder / name, what) for name, what in files.items()),
        points,
    )


def _free(folder: Path) -> Path:
    """Give the folder's full path; refuse one that is taken."""
    remedy = "name a new or empty folder"
    try:
        target = folder.resolve()
        if not target.name:
            raise ResultError("is the root of a disk", where=str(folder), remedy=remedy)
        if folder.is_symlink() or (target.exists() and not target.is_dir()):
            raise ResultError(
                "is not a folder; nothing was written", where=str(folder), remedy=remedy
            )
        if target.is_dir() and any(target.iterdir()):
            raise ResultError(
                "the folder holds files; nothing was written", where=str(folder), remedy=remedy
            )
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise ResultError(
            f"cannot be a folder: {reason}", where=str(folder)[:200], remedy=remedy
        ) from error
    return target


def _remove(folder: Path) -> None:
    with suppress(OSError):
        shutil.rmtree(folder)


def _write(
    folder: Path, flight: Flight, cloud: str, progress: Callable[[str], None]
) -> tuple[dict[str, str], int]:
    scenario, site = flight.scenario, flight.scenario.site
    suffix, version, with_colour, without = CLOUDS[cloud]
    cloud_file = f"cloud.{suffix}"
    flown_s = flight.motion.tracks[-1].end_s - flight.motion.tracks[0].start_s
    progress("flying")
    points = cloud_of(flight)
    progress(f"writing {len(points['x'])} points")
    write_points(
        folder / cloud_file,
        points=points,
        point_format=with_colour if scenario.colour else without,
        version=version,
        scale=(0.001, 0.001, 0.001),
        offset=(round(float(points["x"].min()), -2), round(float(points["y"].min()), -2), 0.0),
        wkt=wkt_of(site) if version == "1.4" else None,
        geokeys=geokeys_of(site) if version != "1.4" else None,
        created=site.flown,
    )
    heights_m, (west_m, north_m) = raster_of(points, scenario.cell_m)
    moved_m = flight.faults.get("half-cell", 0.0) * scenario.cell_m
    cell_m = scenario.cell_m
    write_raster(
        folder / "dem.tif",
        heights_m,
        (cell_m, 0.0, west_m + moved_m, 0.0, -cell_m, north_m - moved_m),
        wkt_of(site),
    )
    progress("comparing")
    simulated = compared(flight)
    measured = measured_table(simulated)
    header = f"base/pillar2.{site.flown:%y}o"
    texts = {
        "truth.json": (
            "what was put in: the true answers",
            truth_text(truth_of(flight, simulated, len(points["x"]))),
        ),
        "job.toml": (
            "the job: what the crew believes and claims",
            job_text(flight, cloud_file, flown_s, measured=bool(measured)),
        ),
        "checkpoints.csv": ("surveyed checkpoints and control points", checkpoint_table(flight)),
        "targets.csv": ("what is painted on the targets", target_table(flight)),
        "trajectory.csv": ("the flown trajectory, five rows a second", trajectory_table(flight)),
        header: ("header of the base's observation file", observation_text(scenario, flown_s)),
        "base/antennas.atx": (
            "calibration of the base's antenna",
            antex_text(scenario, flight.faults),
        ),
    }
    if measured:
        texts["measured.csv"] = ("centres of the targets, as picked in the cloud", measured)
    files = {
        cloud_file: f"point cloud, {len(points['x'])} points",
        "dem.tif": f"elevation raster, {scenario.cell_m} m cells, made from the cloud",
    }
    for name, (what, text) in texts.items():
        (folder / name).write_text(text, encoding="utf-8", newline="\n")
        files[name] = what
    return files, len(points["x"])
