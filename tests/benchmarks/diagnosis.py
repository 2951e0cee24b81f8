"""What the diagnosis concludes: ``python tests/benchmarks/diagnosis.py [--seed N] [--each N] [--part ...]``.

Flights of the simulator, seeded, with a fault (or two, or none) of known size; every conclusion is put
against what was put in. Sizes are drawn from 3 to 8 detection floors of the fault in that scenario; faults
that are whole numbers of something are what they are. The rules were tuned on other seeds than the default
ones here.

``--out FILE`` keeps every case as a line of JSON; ``--table FILE...`` prints the tables of such files again.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command line does

import numpy as np

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parents[1]), str(HERE.parent)]


from diagnosis_cases import BODY, INSEPARABLE, MAP, SCENARIOS, Case, run, size_for
from diagnosis_simulated import FACTOR

#: Pairs of causes that are put in together.
PAIRED = (
    "boresight-roll",
    "boresight-pitch",
    "boresight-heading",
    "lever-right",
    "clock-offset",
    "range-offset",
    "base-up",
    "base-east",
    "epoch",
    "feet",
    "frame",
    "geoid-omitted",
    "survey-session",
    "antenna-height",
)


def cases(part: str, start: int, each: int, folder: Path) -> Iterator[Case]:
    """Fly the cases of one part."""
    rng = np.random.default_rng(start)
    seed = start
    if part == "none":
        for i in range(each * 10):
            seed += 1
            yield run(SCENARIOS[i % 4], {}, seed, 0.0, folder)
    elif part in ("map", "body"):
        for i in range(each):
            for fault in MAP if part == "map" else BODY:
                seed += 1
                scenario = "two-heights" if part == "body" else SCENARIOS[i % 4]
                if fault == "frame-older":
                    scenario = "corridor"
                if fault == "half-cell":
                    scenario = "hills"
                size, times = size_for(fault, scenario, rng)
                if times >= 3.0:
                    yield run(scenario, {fault: size}, seed, times, folder)
    else:
        for i in range(each * 10):
            seed += 1
            one, other = (str(f) for f in rng.choice(PAIRED, 2, replace=False))
            scenario = "two-heights" if i % 2 else SCENARIOS[i % 4]
            drawn = {fault: size_for(fault, scenario, rng) for fault in (one, other)}
            faults = {fault: size for fault, (size, _) in drawn.items()}
            yield run(scenario, faults, seed, min(t for _, t in drawn.values()), folder)


def share(of: Sequence[bool]) -> str:
    """Write a share with its counts."""
    return f"{100.0 * sum(of) / max(len(of), 1):6.1f} %  ({sum(of)} of {len(of)})"


def say(text: str = "") -> None:
    """Print a line."""
    sys.stdout.write(text + "\n")


def tables(found: Sequence[Case]) -> None:
    """Print the tables."""
    none = [c for c in found if not c.faults]
    single = [c for c in found if len(c.faults) == 1]
    mapped = [c for c in single if next(iter(c.faults)) in MAP]
    body = [c for c in single if next(iter(c.faults)) in BODY]
    pairs = [c for c in found if len(c.faults) == 2]
    apart = [c for c in mapped if next(iter(c.faults)) not in INSEPARABLE]
    sized = [c for c in single if c.sigma is not None]
    say(f"{len(found)} flights")
    say(f"map-fixed: named, or in the list          (>= 95 %) {share([c.in_list for c in mapped])}")
    say(f"map-fixed, separable: first               (>= 85 %) {share([c.first for c in apart])}")
    say(
        f"one cause: wrong name                     (<=  1 %) {share([c.wrong_name for c in single])}"
    )
    say(
        f"no fault: a cause named                   (<=  1 %) {share([bool(c.named) for c in none])}"
    )
    say(
        f"no fault: anything listed                           {share([bool(c.listed) for c in none])}"
    )
    good = [
        bool(c.named)
        and not c.wrong_name
        and c.sigma is not None
        and abs(c.value - c.truth) <= 3 * c.sigma
        for c in body
    ]
    say(f"body-fixed: named, size within 3 sigma    (>= 90 %) {share(good)}")
    say(
        f"two causes: a wrong name                  (<=  2 %) {share([c.wrong_name for c in pairs])}"
    )
    both = [len(c.named) == 2 and set(c.named) <= c.right for c in pairs]
    say(f"two causes: both named together                     {share(both)}")
    pair_listed = [any(len(n) == 2 and set(n) <= c.right for n in c.listed) for c in pairs]
    say(f"two causes: both in one entry of the list           {share(pair_listed)}")
    inside = [abs(c.value - c.truth) <= 1.96 * c.sigma for c in sized]
    say(f"95 % intervals cover the size           (93 - 97 %) {share(inside)}")
    confusion(single)
    odd = [c for c in found if c.wrong_name or (c.faults and not c.in_list and len(c.faults) == 1)]
    say("\nwrong, or not in the list")
    for c in odd[:40]:
        say(
            f"  {c.scenario} {c.seed} {dict(c.faults)} ({c.times_floor:.1f} floors): {c.conclusion} "
            f"{c.listed[:4]}"
        )


def confusion(found: Sequence[Case]) -> None:
    """Print, for each fault, what was concluded."""
    say("\nfault put in            n  first  in list  wrong   conclusions (best name, n)")
    for fault in (*MAP, *BODY):
        its = [c for c in found if fault in c.faults]
        if not its:
            continue
        best = Counter((c.conclusion, " + ".join(c.listed[0]) if c.listed else "-") for c in its)
        told = "; ".join(f"{kind}: {name} {n}" for (kind, name), n in best.most_common(4))
        say(
            f"{fault:<20}{len(its):>5}{sum(c.first for c in its):>7}{sum(c.in_list for c in its):>9}"
            f"{sum(c.wrong_name for c in its):>7}   {told}"
        )


def read(paths: Sequence[Path]) -> list[Case]:
    """Read kept cases."""
    found = []
    for path in paths:
        for line in path.read_text("utf-8").splitlines():
            data = json.loads(line)
            data["named"] = tuple(data["named"])
            data["listed"] = tuple(tuple(names) for names in data["listed"])
            if data["truth"] is not None:
                ((fault, size),) = data["faults"].items()
                data["truth"] = size * FACTOR.get(fault, 1.0)
            found.append(Case(**data))
    return found


def main() -> int:
    """Fly and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--seed", type=int, default=50_000)
    parser.add_argument("--each", type=int, default=12)
    parser.add_argument("--part", default="none,map,body,pairs")
    parser.add_argument("--out", type=Path)
    parser.add_argument("--table", type=Path, nargs="+")
    arguments = parser.parse_args()
    if arguments.table:
        tables(read(arguments.table))
        return 0
    found = []
    with tempfile.TemporaryDirectory() as folder:
        for number, part in enumerate(arguments.part.split(",")):
            start = arguments.seed + 10_000 * number
            for case in cases(part, start, arguments.each, Path(folder)):
                found.append(case)
                if arguments.out:
                    with arguments.out.open("a", encoding="utf-8") as stream:
                        stream.write(json.dumps(case.as_json()) + "\n")
    tables(found)
    return 0


if __name__ == "__main__":
    sys.exit(main())
