"""What simulated flights cost, and that their spread is the predicted one.

``python tests/benchmarks/simulated_flights.py [--flights N]``

Prints time and size of every scenario as a folder, processor time of one flight in memory, and standard
deviations of simulated points over those of the error budget, along, across and up.
"""

from __future__ import annotations

import argparse
import resource
import sys
import tempfile
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parents[1]), str(HERE.parent)]

from accuracy.simulation.folder import write_scenario
from accuracy.simulation.memory import simulate
from accuracy.simulation.scenarios import SCENARIOS


def say(text: str) -> None:
    """Print a line at once."""
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


def folders() -> None:
    """Write every scenario once."""
    say("  folder          CPU s   wall s      MB      points   peak MB (so far)")
    for name in SCENARIOS:
        with tempfile.TemporaryDirectory() as here:
            wall, start = time.time(), time.process_time()
            made = write_scenario(Path(here) / "site", name)
            used, waited = time.process_time() - start, time.time() - wall
            size = sum(path.stat().st_size for path in made.folder.rglob("*") if path.is_file())
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3
        say(f"  {name:<14}{used:7.1f}{waited:9.1f}{size / 1e6:8.1f}{made.points:12d}{peak:10.0f}")


def memory(flights: int) -> None:
    """Fly every scenario in memory."""
    say("\n  in memory       CPU s per flight   points   rows")
    faults = {"boresight-roll": 0.01, "base-up": 0.03}
    for name in SCENARIOS:
        simulate(name, faults, 0)
        start = time.process_time()
        for seed in range(1, flights + 1):
            made = simulate(name, faults, seed)
        used = (time.process_time() - start) / flights
        say(f"  {name:<14}{used:14.2f}{len(made.points.x_m):14d}{len(made.seen.line):7d}")


def budget(flights: int) -> None:
    """Hold the spread of simulated points against the error budget."""
    from simulation_budget import ratios

    along, across, up = ratios(range(5000, 5000 + flights))
    say(
        f"\n  simulated over predicted, {flights} flights: along {along:.3f}, across {across:.3f}, up {up:.3f}"
    )


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--flights", type=int, default=10)
    chosen = parser.parse_args()
    folders()
    memory(chosen.flights)
    budget(40 * chosen.flights)
