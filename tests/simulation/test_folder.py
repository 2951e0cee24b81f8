"""The folder of a simulated flight: whole or not at all, the same bytes, and right in every file."""

from __future__ import annotations

import errno
import hashlib
import math
import os
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import laspy
import numpy as np
import pytest
from support import assert_metres

from accuracy.errors import FormatError, ResultError, UsageError
from accuracy.formats import open_cloud
from accuracy.job import load_job
from accuracy.preparation import prepare as prepare_job
from accuracy.processing_checks import check_processing
from accuracy.simulation import folder as folder_module
from accuracy.simulation.base_files import antex_text
from accuracy.simulation.cloud import raster_of
from accuracy.simulation.fault_record import Where
from accuracy.simulation.faults import FAULTS, parse_fault, predicted_m
from accuracy.simulation.folder import CLOUDS, write_scenario
from accuracy.simulation.folder_job import job_text
from accuracy.simulation.folder_tables import flown
from accuracy.simulation.memory import prepare
from accuracy.simulation.scenarios import SCENARIOS, Scenario, scenario

TINY = """
from dataclasses import replace
from accuracy.simulation.scenarios import scenario
whole = scenario("hills")
tiny = replace(whole, payload=replace(whole.payload, pulse_rate_hz=400.0, sweep_rate_hz=8.0), cell_m=2.0)
"""


SOME = {"boresight-roll": 0.02, "base-slant": 0.044, "feet": 1.0}


def tiny() -> Scenario:
    """Give a scenario with so few pulses that it is written in a moment."""
    names: dict[str, Scenario] = {}
    exec(TINY, names)
    return names["tiny"]


def hashes(folder: Path) -> dict[str, str]:
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def test_the_same_seed_gives_the_same_bytes(tmp_path: Path) -> None:
    """In processes with other hash seeds, with faults named in another order; another seed differs."""
    program = TINY + (
        "import sys\nfrom pathlib import Path\n"
        "from accuracy.simulation.folder import write_scenario\n"
        f"faults = {dict(reversed(SOME.items()))!r}\n"
        "write_scenario(Path(sys.argv[1]), tiny, faults, 5)\n"
    )
    write_scenario(tmp_path / "a", tiny(), SOME, 5)
    write_scenario(tmp_path / "c", tiny(), SOME, 6)
    environment = {**os.environ, "PYTHONHASHSEED": "4242"}
    arguments = [sys.executable, "-c", program, str(tmp_path / "b")]
    subprocess.run(arguments, check=True, env=environment, timeout=120)
    made = {name: hashes(tmp_path / name) for name in "abc"}
    assert made["a"] == made["b"]
    assert set(made["a"]) == {
        "cloud.laz",
        "dem.tif",
        "truth.json",
        "job.toml",
        "checkpoints.csv",
        "targets.csv",
        "trajectory.csv",
        "base/pillar2.26o",
        "base/antennas.atx",
    }
    differ = {name for name, value in made["c"].items() if made["a"][name] != value}
    assert {"cloud.laz", "dem.tif", "checkpoints.csv", "trajectory.csv", "truth.json"} <= differ


def test_a_folder_that_holds_something_is_left_alone(tmp_path: Path) -> None:
    """Files, folders with contents and links are refused before anything is flown; an empty folder is used."""
    taken = tmp_path / "taken"
    taken.mkdir()
    (taken / "notes.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(ResultError, match="holds files"):
        write_scenario(taken, tiny())
    assert [path.name for path in taken.iterdir()] == ["notes.txt"]
    with pytest.raises(ResultError, match="not a folder"):
        write_scenario(taken / "notes.txt", tiny())
    with pytest.raises(ResultError, match="root of a disk"):
        write_scenario(Path(tmp_path.anchor), tiny(), {}, 1)
    with pytest.raises(ResultError):
        write_scenario(Path("x\0y"), tiny())
    empty = tmp_path / "empty"
    empty.mkdir()
    write_scenario(empty, tiny())
    assert (empty / "job.toml").is_file()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["empty", "taken"]


@pytest.mark.parametrize("at", ["write_points", "write_raster", "measured_table"])
@pytest.mark.parametrize("how", ["full", "format", "interrupt"])
def test_a_full_disk_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, at: str, how: str
) -> None:
    """Wherever writing stops, no half folder stays behind, and the reason is told."""
    problem: BaseException = {
        "full": OSError(errno.ENOSPC, os.strerror(errno.ENOSPC)),
        "format": FormatError("cannot be written: no space left"),
        "interrupt": KeyboardInterrupt(),
    }[how]

    def stop(*_: object, **__: object) -> None:
        raise problem

    monkeypatch.setattr(folder_module, at, stop)
    expected = KeyboardInterrupt if how == "interrupt" else ResultError
    with pytest.raises(expected) as caught:
        write_scenario(tmp_path / "site", tiny())
    assert list(tmp_path.iterdir()) == []
    if isinstance(caught.value, ResultError):
        assert "no space left" in str(caught.value).lower()


def test_wrong_faults_are_refused_before_anything_is_written(tmp_path: Path) -> None:
    """An unknown fault or scenario costs no time and leaves nothing."""
    for name, faults in (("flat", {"base-upp": 1.0}), ("flad", {}), ("flat", {"frame-older": 1.0})):
        with pytest.raises(UsageError):
            write_scenario(tmp_path / "site", name, faults)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("cloud", list(CLOUDS))
@pytest.mark.parametrize("colour", [True, False])
def test_clouds_are_of_the_kind_asked_for(tmp_path: Path, cloud: str, colour: bool) -> None:
    """LAS version, point format, reference system and colours, as laspy and the product read them."""
    write_scenario(tmp_path / "site", replace(tiny(), colour=colour), {}, 1, cloud=cloud)
    suffix, version, with_colour, without = CLOUDS[cloud]
    path = tmp_path / "site" / f"cloud.{suffix}"
    with laspy.open(path) as reader:
        header = reader.header
        assert str(header.version) == version
        assert header.point_format.id == (with_colour if colour else without)
        crs = header.parse_crs()
    assert crs is not None
    if version == "1.4":
        assert [part.to_epsg() for part in crs.sub_crs_list] == [25833, 7837]
    assert open_cloud(path).info.crs_evidence
    las = laspy.read(path)
    assert np.all(np.diff(np.asarray(las.gps_time)) >= 0)
    assert set(np.unique(las.classification)) <= {1, 2, 6, 7}
    assert {2, 6} <= set(np.unique(las.classification))


@pytest.mark.parametrize("name", ["flat", "hills", "corridor"])
def test_the_base_log_tells_the_fault(name: str, tmp_path: Path) -> None:
    """What the product finds in the base log is what was put into the cloud; without a fault it is sound."""
    whole = scenario(name)
    folder = tmp_path / "site"
    small = replace(
        whole, payload=replace(whole.payload, pulse_rate_hz=300.0, sweep_rate_hz=6.0), cell_m=4.0
    )
    write_scenario(folder, small)
    here = Where(
        site=whole.site,
        east_m=np.array([whole.site.origin_m[0]]),
        north_m=np.array([whole.site.origin_m[1]]),
        up_m=np.array([whole.site.height_m]),
    )
    cases: list[dict[str, float]] = [{}]
    for fault in FAULTS.values():
        if fault.name.startswith(("base-", "antenna-", "phase-")):
            cases.append(dict([parse_fault(f"{fault.name}={fault.example}")]))
    cases += [
        {"antenna-height": 1.0},
        {"phase-centre": -1.0},
        {"base-slant": 0.01, "base-up": 0.05},
    ]
    for faults in cases:
        flight = prepare(whole, faults, 1)
        text = job_text(flight, "cloud.laz", 150.0, measured=False)
        text = re.sub(r"\[trajectory\].*?(?=\[\[claim)", "", text, flags=re.DOTALL)
        (folder / "base.toml").write_text(text, encoding="utf-8")
        (folder / "base" / "antennas.atx").write_text(antex_text(whole, faults), encoding="utf-8")
        checked = check_processing(prepare_job(load_job(folder / "base.toml")))
        assert checked.base_data is not None
        effect = checked.base_data["expected_shift"]["effect"]
        found = (
            [0.0] * 3
            if effect is None
            else [effect[f"{axis}_m"] for axis in ("east", "north", "up")]
        )
        # east and north of the product are true ones, up to 1.3 degrees from the grid's
        turn = math.radians(whole.site.zone.convergence_deg(*whole.site.place_deg))
        grid = (
            found[0] * math.cos(turn) - found[1] * math.sin(turn),
            found[0] * math.sin(turn) + found[1] * math.cos(turn),
            found[2],
        )
        assert_metres(grid, predicted_m(faults, here)[0], within_m=0.003)


def test_the_trajectory_is_that_of_the_cloud() -> None:
    """On the passes it is the motion the points were made with; between them it goes on without a jump."""
    for whole in SCENARIOS.values():
        flight = prepare(whole, {}, 1)
        tracks = flight.motion.tracks
        time_s = np.arange(tracks[0].start_s, tracks[-1].end_s, 0.05)
        position_m, attitude_deg = flown(flight, time_s)
        for track in tracks:
            mine = (time_s >= track.start_s) & (time_s <= track.end_s)
            assert_metres(position_m[mine], track.position_m(time_s[mine])[0], within_m=1e-6)
            heading = flight.motion.attitude_deg(track, time_s[mine])
            assert_metres(attitude_deg[mine], heading, within_m=1e-9)
        speed = np.linalg.norm(np.diff(position_m, axis=0), axis=1) / 0.05
        assert speed.max() < 30.0
        assert speed.min() > 0.1
        heights = position_m[:, 2] - whole.landscape.field(position_m[:, 0], position_m[:, 1])[0]
        planned = [each.above_m for each in whole.passes]
        assert heights.min() > min(planned) - 12.0
        assert heights.max() < max(planned) + 12.0


def test_the_raster_of_a_plane_is_the_plane() -> None:
    """Cells hold the height at their middle however points lie in them; holes of a cell are filled."""
    random = np.random.default_rng(1)
    x, y = 1000.0 + random.uniform(0, 30, 40_000), 2000.0 + random.uniform(0, 20, 40_000)
    keep = (np.abs(x - 1010.25) > 0.25) | (np.abs(y - 2010.25) > 0.25)
    x, y = x[keep], y[keep]
    points = {
        "x": x,
        "y": y,
        "z": 50.0 + 0.3 * (x - 1000.0) - 0.2 * (y - 2000.0),
        "classification": np.full(len(x), 2),
        "withheld": np.zeros(len(x), dtype=bool),
    }
    heights, (west, north) = raster_of(points, 0.5)
    assert (west, north) == (1000.0, 2020.0)
    assert heights.shape == (40, 60)
    middle_x = west + 0.5 * (np.arange(60) + 0.5)
    middle_y = north - 0.5 * (np.arange(40) + 0.5)
    plane = 50.0 + 0.3 * (middle_x[None, :] - 1000.0) - 0.2 * (middle_y[:, None] - 2000.0)
    inner = (slice(1, -1), slice(1, -1))
    assert_metres(heights[inner], plane[inner], within_m=0.02)
    assert_metres(np.median(np.abs(heights[inner] - plane[inner])), 0.0, within_m=0.003)
