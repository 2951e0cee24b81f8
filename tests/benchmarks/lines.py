"""How fast flight lines are compared, and how well: ``python tests/benchmarks/lines.py [--points N]``.

Time of the analysis against a full decode of the same file on all cores, in turn, best of three; peak memory in
processes of their own, for one file and for several times as many points in tiles. Then, over many simulated
flights with known faults, how often the truth lies within so many standard errors.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent), str(HERE.parents[1])]

import clouds
import laspy
import numpy as np
import run
from line_flights import HEIGHT_M, PAIR, SPEED_M_S, Fault, analysed, flight, waves

from accuracy.flightlines.analysis import analyse_lines
from accuracy.flightlines.records import LinesSettings
from accuracy.formats import open_cloud

#: Single swath spacing of the generated cloud: a third of 200 points per square metre is one line's.
ANPS_M = 0.15


def analyse(paths: list[Path]) -> None:
    """Compare the lines of files, spacing ordered."""
    record = analyse_lines([open_cloud(p) for p in paths], LinesSettings(design_anps_m=ANPS_M))
    assert record.pairs


def speed(folder: Path, points: int) -> None:
    """Time against a full decode, and memory of one file and of tiles."""
    path = folder / "lines.laz"
    clouds.write_cloud(path, points, 6)
    ours, full = run.best(lambda: analyse([path]), lambda: run.decode(path, run.ALL))
    run.row("lines, LAZ 1.4 format 6", "full decode", ours, full, 2.0)
    print(f"| peak MB above start, one file | {apart([path]):.0f} | | 500 | | | |", flush=True)


def tiled_memory(folder: Path, points: int, factor: int) -> None:
    """Peak memory of many times as many points, in tiles of one flight each."""
    paths = []
    plain = folder / "tile.las"
    clouds.write_cloud(plain, points, 6)
    las = laspy.read(plain)
    side = clouds.side_m(points)
    for number in range(factor):
        las.X = las.X + (round(side * 1000) if number else 0)
        paths.append(folder / f"tile{number}.laz")
        las.write(paths[-1])
    plain.unlink()
    del las
    few, many = apart(paths[:1]), apart(paths)
    print(f"| peak MB above start, {points} points | {few:.0f} | | 500 | | | |")
    print(f"| peak MB above start, {factor} tiles of that | {many:.0f} | | 500 | | | |", flush=True)


def apart(paths: list[Path]) -> float:
    """Measure memory in a process of its own."""
    command = [sys.executable, __file__, "--apart", *map(str, paths)]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    return float(json.loads(done.stdout))


def measure_apart(paths: list[Path]) -> None:
    """Do what `apart` asked for."""
    import scipy.ndimage
    import scipy.special  # noqa: F401  # loaded before time is taken

    base = run.resident_mb("VmRSS")
    analyse(paths)
    print(json.dumps(run.resident_mb("VmHWM") - base))


def coverage(folder: Path, flights: int) -> None:
    """Count how often standard errors hold, over flights with all faults at once, on slopes."""
    roll, drift, right_m, forward_m = math.radians(0.03), 4e-4, 0.04, 0.03
    fault = Fault(roll=roll, right_m=right_m, forward_m=forward_m, drift_m_s=drift)
    scores: dict[str, list[float]] = {}
    for seed in range(flights):
        record = analysed(folder, flight(PAIR, waves, fault, seed=5000 + seed, per_m2=20.0))
        [pair] = record.pairs
        for name, found, truth in (
            ("tilt across, 2 x roll", pair.trends.across, 2 * roll),
            ("tilt along, -2 x drift / speed", pair.trends.along, -2 * drift / SPEED_M_S),
            ("offset east", pair.offset.east_m, -2 * right_m + 2 * HEIGHT_M * roll),
            ("offset north", pair.offset.north_m, -2 * forward_m),
            ("all pairs: roll", record.trends.roll_rad, -roll),
            ("all pairs: drift", record.trends.drift_m_s, drift),
        ):
            scores.setdefault(name, []).append((found.value - truth) / found.standard_error)
    print(
        f"\n{flights} flights of two lines, six blocks each: errors in their own standard errors\n"
    )
    print("| what | mean | root mean square | beyond 2 | beyond 3 |")
    print("|---|---|---|---|---|")
    for name, values in scores.items():
        z = np.array(values)
        two, three = (float(np.mean(np.abs(z) > k)) for k in (2.0, 3.0))
        rms = math.sqrt(float(np.mean(z**2)))
        print(f"| {name} | {z.mean():+.2f} | {rms:.2f} | {two:.3f} | {three:.3f} |", flush=True)


def noise(folder: Path, flights: int) -> None:
    """Hold the RMSD of sound flights against the noise put in, carried through both planes."""
    ratios = []
    for seed in range(flights):
        record = analysed(folder, flight(seed=7000 + seed, per_m2=20.0))
        ratios.append(record.differences.rmsd_m / record.expected_rmsd_m)
    cells = record.differences.n
    print(
        f"\nsound flights, RMSD / expected: mean {np.mean(ratios):.4f}, spread {np.std(ratios):.4f} "
        f"(chance alone {1 / math.sqrt(2 * cells):.4f}), {flights} flights of {cells} cells"
    )


def main() -> None:
    """Run all, in order."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--points", type=int, default=20_000_000)
    parser.add_argument("--factor", type=int, default=6, help="tiles for memory")
    parser.add_argument("--flights", type=int, default=100)
    parser.add_argument("--folder", type=Path, help="parent of the temporary folder")
    parser.add_argument("--only", nargs="+", help="speed, memory, coverage, noise")
    parser.add_argument("--apart", nargs="+", type=Path, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.apart:
        measure_apart(asked.apart)
        return
    print(f"{asked.points} points at 200 per m2, {os.cpu_count()} cores, best of three, seconds\n")
    print("| what | measured | floor | floor's | ratio | of processor time | target |")
    print("|---|---|---|---|---|---|---|")
    with tempfile.TemporaryDirectory(dir=asked.folder) as name:
        folder = Path(name)
        parts = {
            "speed": lambda: speed(folder, asked.points),
            "memory": lambda: tiled_memory(folder, asked.points // 4, asked.factor),
            "coverage": lambda: coverage(folder, asked.flights),
            "noise": lambda: noise(folder, asked.flights // 4),
        }
        start = time.perf_counter()
        for part in asked.only or parts:
            parts[part]()
        print(f"\n{time.perf_counter() - start:.0f} s")


if __name__ == "__main__":
    main()
