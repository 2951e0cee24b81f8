"""Compare runs: from their results to one `Comparison`."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from accuracy import __version__
from accuracy.comparison.changes import changes
from accuracy.comparison.claimed import TOLERANCE_SHARE, claimed_of
from accuracy.comparison.judging import LEAST_RATIO, group, judge, whole
from accuracy.comparison.loading import LoadedRun, load_run
from accuracy.comparison.points import Side, match
from accuracy.comparison_record import ClaimPair, Comparison, Group, Points, RunSide, Settings
from accuracy.errors import UsageError
from accuracy.findings import Component, Finding, Severity
from accuracy.result import ClaimResult, DatasetResult, Result
from accuracy.stats import paired
from accuracy.units import LengthUnit

Handed = Result | LoadedRun | Path | str


def compare(
    before: Handed,
    after: Handed,
    *more: Handed,
    tolerance_m: float | None = None,
    same_flight: bool = False,
    ledger: Path | None = None,
) -> Comparison:
    """Hold runs against each other on their common checkpoints.

    Parameters
    ----------
    before, after, more : Result, Path or str
        Results, or where they are: a ``result.json``, its folder, ``ledger:12``. The first is the one that
        the others are held against; with three or more all are ranked.
    tolerance_m : float, optional
        Changes of an RMSE up to this do not count; by default a quarter of the claimed limit.
    same_flight : bool
        All runs are of one flight with one trajectory and base station, so that errors shared by all points
        are the same in all. Taken as said where all results name the same trajectory, by its hash.
    ledger : Path, optional
        Ledger that numbers refer to.

    Raises
    ------
    AccuracyError
        A run cannot be read, or the tolerance is not a length.
    """
    if tolerance_m is not None and not (math.isfinite(tolerance_m) and tolerance_m >= 0.0):
        raise UsageError(
            f"the tolerance is {tolerance_m} m", remedy="give a length of 0 or more in metres"
        )
    runs = [_loaded(run, i, ledger) for i, run in enumerate((before, after, *more), 1)]
    results = [run.result for run in runs]
    shared = _one_trajectory(results)
    same_flight = same_flight or bool(shared)
    least_ratio = 1.0 if same_flight else LEAST_RATIO
    points: list[Points] = []
    groups: list[Group] = []
    findings: list[Finding] = [*_same_runs(runs), *shared]
    names, missing = _names(results)
    findings += missing
    for name, sides in names.items():
        matched, more_findings = match(name, sides)
        points.append(matched)
        findings += more_findings
        findings += _covers(name, sides, matched.common)
        for claimed in claimed_of([side.dataset for side in sides], tolerance_m):
            its = group(name, sides, _of_cover(sides, matched, claimed.cover), claimed, least_ratio)
            if its is not None:
                groups.append(its)
                findings += _group_findings(its)
    judged, tests = judge(groups, len(runs), least_ratio)
    claims = [pair for run in range(1, len(runs)) for pair in _claims(names, results, run)]
    findings += _dropped(claims)
    return Comparison(
        tool_version=__version__,
        runs=tuple(_side(run) for run in runs),
        display_units=LengthUnit(results[0].job.get("job", {}).get("display_units", "metre")),
        settings=Settings(
            level=paired.LEVEL,
            tests=tests,
            tolerance_m=tolerance_m,
            tolerance_share=TOLERANCE_SHARE,
            same_flight=same_flight,
            least_ratio=least_ratio,
            exact_up_to=paired.EXACT_UP_TO,
            draws=paired.DRAWS,
            seed=paired.SEED,
            power=paired.POWER,
        ),
        changes=tuple(
            change
            for run in range(1, len(runs))
            for change in changes(results[0], results[run], run)
        ),
        points=tuple(points),
        groups=judged,
        claims=tuple(claims),
        findings=tuple(findings),
        verdict=whole(judged),
    )


def _loaded(run: Handed, number: int, ledger: Path | None) -> LoadedRun:
    if isinstance(run, LoadedRun):
        return run
    if isinstance(run, Result):
        import hashlib

        digest = hashlib.sha256(run.to_json().encode("utf-8")).hexdigest()
        return LoadedRun(f"run {number}", digest, run)
    return load_run(run, ledger)


def _side(run: LoadedRun) -> RunSide:
    about: Mapping[str, Any] = run.result.job.get("job", {})
    return RunSide(
        label=run.label,
        sha256=run.sha256,
        title=str(about.get("title", "")),
        site=about.get("site"),
        sensor=about.get("sensor"),
        flown=about.get("flown"),
        processing=run.result.job.get("processing", {}),
        verdict=run.result.verdict,
        tool_version=run.result.run.tool_version,
        finished=run.result.run.finished,
    )


def _same_runs(runs: Sequence[LoadedRun]) -> Iterator[Finding]:
    for i, run in enumerate(runs):
        for j in range(i):
            if runs[j].sha256 == run.sha256:
                yield Finding(
                    "compare-same-run",
                    Severity.WARNING,
                    f"run {i + 1} is run {j + 1}, byte for byte",
                    evidence={"sha256": run.sha256},
                    remedy="name the results of two verifications",
                )


def _one_trajectory(results: Sequence[Result]) -> list[Finding]:
    """Say so where all results rest on the same trajectory: what it did to all points is the same in all."""
    named = {
        tuple(sorted(item.sha256 for item in result.inputs if item.role == "trajectory"))
        for result in results
    }
    if len(named) != 1 or not (hashes := named.pop()):
        return []
    return [
        Finding(
            "compare-one-trajectory",
            Severity.NOTE,
            "all runs name the same trajectory (SHA-256): errors that it gives to all points are taken to be "
            "the same in all, as with --same-flight",
            evidence={"sha256": hashes[0]},
        )
    ]


def _names(results: Sequence[Result]) -> tuple[dict[str, list[Side]], list[Finding]]:
    """Pair the datasets by name, or the only ones of all runs whatever they are called."""
    by_name = [{dataset.name: dataset for dataset in result.datasets} for result in results]
    common = [name for name in by_name[0] if all(name in its for its in by_name)]
    if not common and all(len(its) == 1 for its in by_name):
        (name,) = by_name[0]
        only = [next(iter(its.values())) for its in by_name]
        told = Finding(
            "compare-dataset-by-order",
            Severity.NOTE,
            f"each run has one dataset, called {', '.join(its.name for its in only)}; they are compared",
            dataset=name,
        )
        return {name: [Side(r, d) for r, d in zip(results, only, strict=True)]}, [told]
    findings = []
    for name in dict.fromkeys(name for its in by_name for name in its):
        where = [i + 1 for i, its in enumerate(by_name) if name in its]
        if len(where) < len(results):
            findings.append(
                Finding(
                    "compare-dataset-missing",
                    Severity.WARNING,
                    f"only in run {', '.join(map(str, where))}, so it is not compared",
                    dataset=name,
                    remedy="give the dataset one name in all jobs",
                )
            )
    return {
        name: [Side(r, its[name]) for r, its in zip(results, by_name, strict=True)]
        for name in common
    }, findings


def _covers(name: str, sides: Sequence[Side], common: Sequence[str]) -> Iterator[Finding]:
    other = [id_ for id_ in common if len({side.rows[id_].cover for side in sides}) > 1]
    if other:
        yield Finding(
            "compare-cover-changed",
            Severity.WARNING,
            "land cover is not the same in all runs, so these are compared only where covers are taken "
            f"together: {', '.join(other)}",
            dataset=name,
            evidence={"count": len(other)},
            remedy="verify both runs with one table",
        )


def _of_cover(sides: Sequence[Side], points: Points, cover: str) -> list[str]:
    if cover == "all":
        return list(points.common)
    return [id_ for id_ in points.common if {side.rows[id_].cover for side in sides} == {cover}]


def _group_findings(its: Group) -> Iterator[Finding]:
    component: Component = (
        "vertical" if its.component == "up" else "all" if its.component == "3d" else "horizontal"
    )
    what = f"{its.component}, {its.cover}"
    if not its.ids:
        yield Finding(
            "compare-no-common",
            Severity.BLOCKING,
            f"{what}: no checkpoint is judged in all runs at the same place",
            dataset=its.dataset,
            component=component,
            remedy="verify all runs with the same checkpoints",
        )
    elif its.tolerance_m is None:
        yield Finding(
            "compare-no-limit",
            Severity.WARNING,
            f"{what}: {its.tolerance_source}, and no verdict; the figures stand for information",
            dataset=its.dataset,
            component=component,
            remedy="claim a limit, or say with --tolerance-m which change of the RMSE matters",
        )


def _claims(
    names: Mapping[str, Sequence[Side]], results: Sequence[Result], run: int
) -> Iterator[ClaimPair]:
    """Pair the claims of run 0 and of a later one: the same class first, then another class."""
    renamed = {sides[run].dataset.name: name for name, sides in names.items()}
    before = _keyed(results[0].datasets, {})
    after = _keyed(results[run].datasets, renamed)
    found: list[tuple[tuple[str, str], ClaimResult | None, ClaimResult | None]] = []
    for exact in (True, False):
        for key, old in list(before):
            for other, new in list(after):
                if key == other and (not exact or dict(old.claimed) == dict(new.claimed)):
                    before.remove((key, old))
                    after.remove((other, new))
                    found.append((key, old, new))
                    break
    found += [(key, old, None) for key, old in before]
    found += [(key, None, new) for key, new in after]
    for (dataset, standard), one, another in sorted(found, key=lambda pair: pair[0]):
        yield ClaimPair(
            run=run,
            dataset=dataset,
            standard=standard,
            claimed_before=None if one is None else one.claimed,
            claimed_after=None if another is None else another.claimed,
            before=None if one is None else one.verdict,
            after=None if another is None else another.verdict,
        )


def _keyed(
    datasets: Sequence[DatasetResult], renamed: Mapping[str, str]
) -> list[tuple[tuple[str, str], ClaimResult]]:
    return [
        ((renamed.get(dataset.name, dataset.name), claim.standard), claim)
        for dataset in datasets
        for claim in dataset.claims
    ]


def _dropped(claims: Sequence[ClaimPair]) -> Iterator[Finding]:
    for pair in claims:
        if pair.before is not None and pair.after is None:
            yield Finding(
                "compare-claim-dropped",
                Severity.WARNING,
                f"run {pair.run + 1} makes no claim by {pair.standard}, as run 1 does",
                dataset=pair.dataset,
                remedy="a claim that is not made cannot fail: make it again, or renew the baseline",
            )
