"""What ``accuracy compare`` lets through: ``python tests/benchmarks/compare_power.py [--sets N]``.

Two runs on the same n checkpoints are simulated many times. False alarms: the runs differ by chance alone, yet
a difference is called significant, or better or worse. Power: the second run is truly better. All errors are
invented; the share of the survey's error, common to both runs at a point, is half of the variance.

The test is that of the product with drawn patterns of signs, written for many sets at once; a sample of the
sets is tested by the product itself as well, and the answers must agree.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Sequence
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parents[1]), str(HERE.parent)]

import simulated_runs as sim

SIZES = (8, 20, 30, 60)


def line(name: str, cells: Sequence[float]) -> None:
    """Print one row in percent."""
    sys.stdout.write(f"  {name:<46}" + "".join(f"{100 * cell:7.1f}" for cell in cells) + "\n")


def head(title: str) -> None:
    """Print a heading with the numbers of checkpoints."""
    sys.stdout.write(
        f"\n{title}\n  {'percent of sets; n =':<46}" + "".join(f"{n:>7}" for n in SIZES) + "\n"
    )


def main() -> int:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument(
        "--sets", type=int, default=4000, help="sets for each number (default 4000)"
    )
    sets = parser.parse_args().sets
    began = time.perf_counter()
    error = 100 * (0.05 * 0.95 / sets) ** 0.5
    sys.stdout.write(
        f"{sets} sets for each number: a rate of 5 % has a standard error of {error:.2f} %\n"
    )

    head("False alarms of the sign-flip test alone: runs differ by independent noise")
    for kind in sim.KINDS:
        for common in (0.0, 0.5):
            name = f"{kind}, {common:.0%} of the variance common at a point"
            line(name, [sim.trial(sets, n, kind, common=common).significant for n in SIZES])
    name = "equal RMSE, one run biased (not exchangeable)"
    line(name, [sim.trial(sets, n, "normal", biased=True).significant for n in SIZES])

    for share in (0.0, 0.1, 0.2):
        head(f"{share:.0%} of the variance shared by all points of a run, other in each run")
        for kind in sim.KINDS:
            its = [sim.trial(sets, n, kind, shared=share) for n in SIZES]
            line(f"{kind}: significant", [trial.significant for trial in its])
            line(f"{kind}: verdict, RMSE at half the limit", [trial.verdict(0.5) for trial in its])
            line(f"{kind}: verdict, RMSE at the limit", [trial.verdict(1.0) for trial in its])
            if kind == "normal":
                line(
                    "normal: tolerance only, RMSE at half the limit",
                    [t.verdict(0.5, 1.0) for t in its],
                )
                line(
                    "normal: tolerance only, RMSE at the limit", [t.verdict(1.0, 1.0) for t in its]
                )
                line("normal: a test of the bias instead", [t.bias_alarms for t in its])

    for shown, ratio in (("with the condition on shared errors", None), ("--same-flight", 1.0)):
        for limit, place in ((0.5, "half the limit"), (1.0, "the limit")):
            head(f"Power, {shown}, RMSE before at {place}: verdict better (normal)")
            for factor in (0.8, 0.7, 0.6, 0.5, 0.4, 0.3):
                its = [sim.trial(sets, n, "normal", factor=factor) for n in SIZES]
                name = f"RMSE after {factor:.1f} of that before"
                line(name, [trial.verdict(limit, ratio) for trial in its])
    agree = sim.agreement()
    sys.stdout.write(
        f"\nthe product's own test on {agree.count} of such sets: largest difference of p {agree.largest:.4f}, "
        f"drawn against counted\n{time.perf_counter() - began:.0f} s\n"
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
