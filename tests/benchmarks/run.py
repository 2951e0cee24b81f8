"""How fast the reading engine is: ``python tests/benchmarks/run.py [--points N]`` prints a table.

Each time is the best of three, and is compared with a floor measured in turn with it in the same run, so
that the ratios mean something on any machine. Clouds are generated into a temporary folder.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent), str(HERE.parents[1])]

import clouds
import laspy
import lazrs
import numpy as np

from accuracy.formats import las_search, open_cloud
from accuracy.formats.las import open_las, point_dtype
from accuracy.sampling.tin import CloudSetting, sample_cloud

XY, XYZ_CLASS_FLAGS, ALL = 0, 1 | 2 | 4, 0xFFFFFFFF
RADIUS_M = 2.0
FEW, MANY = 12, 100
ROWS: list[bool] = []


class Cost(NamedTuple):
    """Seconds by the clock and of all processors."""

    clock: float
    cpu: float | None = None


def best(*tasks: Callable[[], object], turns: int = 3) -> list[Cost]:
    """Cost of each task, the best of several turns, tasks in turn."""
    costs = [Cost(float("inf"), float("inf"))] * len(tasks)
    for _ in range(turns):
        for i, task in enumerate(tasks):
            clock, cpu = time.perf_counter(), time.process_time()
            task()
            clock, cpu = time.perf_counter() - clock, time.process_time() - cpu
            costs[i] = Cost(min(costs[i].clock, clock), min(costs[i].cpu or 0.0, cpu))
    return costs


def row(what: str, floor_name: str, value: Cost, floor: Cost, target: float) -> None:
    """Keep and print one line of the table."""
    ratio = value.clock / floor.clock
    ROWS.append(ratio <= target)
    of_cpu = f"{value.cpu / floor.cpu:.3f}" if value.cpu and floor.cpu else "-"
    print(
        f"| {what} | {value.clock:.3f} | {floor_name} | {floor.clock:.3f} | {ratio:.3f} | {of_cpu} | "
        f"{target:g} |{'' if ROWS[-1] else ' missed |'}",
        flush=True,
    )


def search(path: Path, points: int, count: int, index: Path | None = None) -> int:
    """Look for the points near `count` checkpoints; how many there are."""
    x, y = clouds.checkpoints(points, count)
    return sum(len(batch.x) for batch in open_las(path, index).near(x, y, RADIUS_M))


def decode(path: Path, layers: int) -> None:
    """Decompress a whole file on all cores, group by group into the same room."""
    cloud = open_las(path)
    compression, header = cloud._compression, cloud._header
    assert compression is not None
    room = np.zeros(0, dtype=np.uint8)
    selection = lazrs.DecompressionSelection(layers)
    with path.open("rb") as file:
        for group in las_search.groups(compression.chunks, 1_000_000):
            file.seek(group[0].start)
            data = file.read(sum(c.size_bytes for c in group))
            needed = sum(c.points for c in group) * header.record_length
            if len(room) < needed:
                room = np.zeros(needed, dtype=np.uint8)
            lazrs.decompress_points_with_chunk_table(
                data,
                compression.record,
                room[:needed],
                [(c.points, c.size_bytes) for c in group],
                selection,
            )


def laz(folder: Path, points: int) -> None:
    """Time searches in LAZ 1.4 and 1.2, first and second."""
    for point_format, of_full in ((6, 0.68), (7, 0.45)):
        path = folder / f"format{point_format}.laz"
        clouds.write_cloud(path, points, point_format)
        ours, floor, full = best(
            lambda p=path: search(p, points, FEW),
            lambda p=path: decode(p, XY),
            lambda p=path: decode(p, ALL),
        )
        name = f"LAZ 1.4 format {point_format}"
        row(f"{name}, {FEW} checkpoints", "decode x, y", ours, floor, 1.20)
        row(f"{name}, {FEW} checkpoints", "full decode", ours, full, of_full)
        ours, floor = best(
            lambda p=path: search(p, points, MANY), lambda p=path: decode(p, XYZ_CLASS_FLAGS)
        )
        row(f"{name}, {MANY} checkpoints", "decode x, y, z, class, flags", ours, floor, 1.15)
    path = folder / "format3.laz"
    clouds.write_cloud(path, points, 3)
    for count in (FEW, MANY):
        ours, floor = best(lambda p=path, n=count: search(p, points, n), lambda: decode(path, ALL))
        row(f"LAZ 1.2 format 3, {count} checkpoints", "full decode", ours, floor, 1.15)
    for name in ("format6.laz", "format3.laz"):
        second_run(folder / name, points)


def second_run(path: Path, points: int) -> None:
    """Time a search that uses the index of an earlier one."""
    index = path.with_suffix(".index")

    def first() -> None:
        shutil.rmtree(index, ignore_errors=True)
        search(path, points, FEW, index)

    ours, floor = best(lambda: search(path, points, FEW, index), first)
    row(f"{path.name}, second run with index", "first run", ours, floor, 0.20)


def las(folder: Path, points: int) -> None:
    """Time a search in LAS."""
    path = folder / "format6.las"
    clouds.write_cloud(path, points, 6)
    header = open_las(path)._header

    def columns() -> None:
        mapped = np.memmap(
            path,
            dtype=point_dtype(6, header.record_length),
            mode="r",
            offset=header.points_offset,
        )
        np.array(mapped["x"])
        np.array(mapped["y"])

    ours, floor = best(lambda: search(path, points, FEW), columns)
    row(f"LAS format 6, {FEW} checkpoints", "x, y through a memory map", ours, floor, 1.5)
    second_run(path, points)


def copc(folder: Path, points: int) -> None:
    """Time a search in COPC, and in one with ten times the points."""
    from laz_files import write_copc

    paths = []
    for count in (points // 10, points):
        plain = folder / f"plain{count}.laz"
        clouds.write_cloud(plain, count, 6)
        paths.append(folder / f"cloud{count}.copc.laz")
        depth = max(2, round(np.log2(clouds.side_m(count) / 12.0)))
        write_copc(paths[-1], laspy.read(plain), depth=depth)
    x, y = clouds.checkpoints(points // 10, FEW)

    def near(path: Path) -> None:
        for _ in open_las(path).near(x, y, RADIUS_M):
            pass

    small, large, floor = best(
        lambda: near(paths[0]), lambda: near(paths[1]), lambda: decode(plain, ALL)
    )
    row(f"COPC, {FEW} checkpoints", "full decode as plain LAZ", large, floor, 0.05)
    row("COPC, ten times the points", "a tenth of the points", large, small, 1.5)


def raster(folder: Path) -> None:
    """Count the bytes read for 500 checkpoints on a raster of 20 000 by 20 000 cells."""
    import rasterio

    from accuracy.formats import open_raster
    from accuracy.sampling.grids import sample_raster

    counter = Path("/proc/self/io")
    if not counter.exists():
        print("| raster | bytes cannot be counted on this system | | | | |")
        return
    path, side, block = folder / "raster.tif", 20_000, 256
    profile = {"driver": "GTiff", "width": side, "height": side, "count": 1, "dtype": "float32"}
    profile |= {"tiled": True, "blockxsize": block, "blockysize": block, "BIGTIFF": "YES"}
    with rasterio.open(
        path, "w", transform=rasterio.Affine(0.1, 0, 0, 0, -0.1, side / 10), **profile
    ) as target:
        for row0 in range(0, side, block * 4):
            rows = min(block * 4, side - row0)
            values = np.random.default_rng(row0).random((rows, side), dtype=np.float32)
            target.write(values, 1, window=rasterio.windows.Window(0, row0, side, rows))
    x, y = np.random.default_rng(4).uniform(1.0, side / 10 - 1.0, (2, 500))
    column, line = x / 0.1 - 0.5, (side / 10 - y) / 0.1 - 0.5
    touched = {
        (int(c + right) // block, int(r + down) // block)
        for c, r in zip(column, line, strict=True)
        for right in (0, 1)
        for down in (0, 1)
    }

    def bytes_read() -> int:
        return int(counter.read_text().split("rchar:")[1].split()[0])

    surface = open_raster(path)
    before = bytes_read()
    sample_raster([surface], x, y, "bilinear", 1.0, 1.0)
    done = bytes_read() - before
    surface.close()
    needed = len(touched) * block * block * 4
    row(
        "raster, 500 checkpoints (MB)",
        "blocks that hold them",
        Cost(done / 1e6),
        Cost(needed / 1e6),
        1.1,
    )


def whole(folder: Path, points: int) -> None:
    """Time the whole command against the search alone."""
    from jobs import write_job, write_points_table

    from accuracy.cli import run

    x, y = clouds.checkpoints(points, FEW)
    z = clouds.ground_m(x - clouds.ORIGIN[0], y - clouds.ORIGIN[1])
    rows = [
        [f"P{i}", f"{a:.3f}", f"{b:.3f}", f"{c:.3f}", "non-vegetated"]
        for i, (a, b, c) in enumerate(zip(x, y, z, strict=True))
    ]
    write_points_table(folder / "points.csv", rows)
    for point_format in (6, 7):
        name = f"format{point_format}.laz"
        if not (folder / name).exists():
            clouds.write_cloud(folder / name, points, point_format)
        dataset = {"name": "cloud", "kind": "point-cloud", "files": [name]}
        job = write_job(folder, datasets=[dataset | {"crs": "EPSG:6341+5703"}])
        ours, floor = best(
            lambda j=job: run(["verify", str(j), "-q", "--no-index"]),
            lambda n=name: search(folder / n, points, FEW),
        )
        row(f"accuracy verify, {name}", "search alone", ours, floor, 1.3)


def apart(kind: str, *arguments: object) -> dict[str, float]:
    """Measure in a process of its own: seconds, and MB above start-up."""
    command = [sys.executable, __file__, "--apart", kind, *map(str, arguments)]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    found: dict[str, float] = json.loads(done.stdout)
    return found


def resident_mb(field: str) -> float:
    """Memory of this process as Linux counts it: ``VmRSS`` now, ``VmHWM`` at most so far.

    Not ``ru_maxrss``: a new process starts with its parent's.
    """
    status = Path("/proc/self/status").read_text(encoding="ascii")
    return int(status.split(f"{field}:")[1].split()[0]) / 1e3


def measure_apart(kind: str, path: Path, points: int) -> None:
    """Do what `apart` asked for."""
    import scipy.interpolate
    import scipy.spatial

    x, y = clouds.checkpoints(points, FEW)
    base, start = resident_mb("VmRSS"), time.perf_counter()
    if kind == "ours":
        setting = CloudSetting((2,), 1.0, 1.0)
        samples, _ = sample_cloud([open_cloud(path)], x, y, setting)
        assert all(sample.height is not None for sample in samples)
    else:
        read = laspy.read(path)
        ground = np.asarray(read.classification) == 2
        places = np.column_stack([read.x[ground], read.y[ground]])
        triangles = scipy.spatial.Delaunay(places - places[0])
        interpolate = scipy.interpolate.LinearNDInterpolator(triangles, read.z[ground])
        interpolate(np.column_stack([x, y]) - places[0])
    seconds = time.perf_counter() - start
    print(json.dumps({"seconds": seconds, "mb": resident_mb("VmHWM") - base}))


def _format6(folder: Path, points: int) -> Path:
    path = folder / "format6.laz"
    if not path.exists():
        clouds.write_cloud(path, points, 6)
    return path


def memory(folder: Path, points: int, factor: int) -> None:
    """Compare peak memory of a file with that of one many times as large, and of the usual script."""
    if not Path("/proc/self/status").exists():
        print("| memory | cannot be counted on this system | | | | | |")
        return
    small = apart("ours", _format6(folder, points), points)
    path = folder / "large.laz"
    clouds.write_cloud(path, factor * points, 6)
    large = apart("ours", path, factor * points)
    path.unlink()
    row(
        f"peak MB above start, {factor} x points",
        "one time",
        Cost(large["mb"]),
        Cost(small["mb"]),
        1.1,
    )
    row("peak MB above start", "300 MB", Cost(large["mb"]), Cost(300.0), 1.0)
    path = folder / "two_million.laz"
    clouds.write_cloud(path, points // 10, 6)
    ours, script = (apart(kind, path, points // 10) for kind in ("ours", "script"))
    row(
        "a tenth of the points, seconds",
        "usual script",
        Cost(ours["seconds"]),
        Cost(script["seconds"]),
        0.05,
    )
    row("a tenth of the points, MB", "usual script", Cost(ours["mb"]), Cost(script["mb"]), 0.15)


def help_text() -> None:
    """Time ``accuracy --help``, and see that it imports no numpy."""
    code = "import sys, accuracy.cli as c; c.run(['--help']); sys.exit('numpy' in sys.modules)"
    environment = os.environ | {"PYTHONPATH": str(HERE.parents[1])}

    def ask() -> None:
        subprocess.run([sys.executable, "-c", code], stdout=-3, check=True, env=environment)

    [seconds] = best(ask)
    row("accuracy --help, without numpy", "one second", Cost(seconds.clock), Cost(1.0), 0.3)


def main() -> None:
    """Run all, in order."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--points", type=int, default=20_000_000)
    parser.add_argument("--factor", type=int, default=10, help="of the larger file for memory")
    parser.add_argument("--folder", type=Path, help="parent of the temporary folder")
    parser.add_argument("--only", nargs="+", help="laz, las, copc, raster, whole, memory, help")
    parser.add_argument("--apart", nargs=3, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.apart:
        measure_apart(asked.apart[0], Path(asked.apart[1]), int(asked.apart[2]))
        return
    cores = os.cpu_count()
    print(f"{asked.points} points at 200 per m2, {cores} cores, best of three, seconds\n")
    print("| what | measured | floor | floor's | ratio | of processor time | target |")
    print("|---|---|---|---|---|---|---|")
    with tempfile.TemporaryDirectory(dir=asked.folder) as name:
        folder = Path(name)
        parts: dict[str, Callable[[], None]] = {
            "laz": lambda: laz(folder, asked.points),
            "las": lambda: las(folder, asked.points),
            "copc": lambda: copc(folder, asked.points),
            "raster": lambda: raster(folder),
            "whole": lambda: whole(folder, asked.points),
            "memory": lambda: memory(folder, asked.points, asked.factor),
            "help": help_text,
        }
        for part in asked.only or parts:
            parts[part]()
    missed = ROWS.count(False)
    print(f"\n{len(ROWS)} lines, {missed} missed")


if __name__ == "__main__":
    main()
