"""Figures and verdicts from the residuals of a record, once more."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from accuracy import __version__
from accuracy.errors import StandardsError
from accuracy.findings import Component, Finding, Severity
from accuracy.inputs.checkpoints import read_checkpoints
from accuracy.residuals import ResidualRow
from accuracy.result import ClaimResult, DatasetResult, Result, overall, plain
from accuracy.sampling.patch import patch_of
from accuracy.standards.judge import Evidence, judge
from accuracy.standards.judge.records import TakenHeights
from accuracy.standards.library import Standard, load_standard
from accuracy.stats import figures

#: Numbers that agree to this are the same: metres, far below what is printed, above rounding.
SAME = 1e-9

#: A residual is measured minus surveyed to this, metres: coordinates of 5000 km, read from feet, carry less.
SAME_POSITION_M = 1e-6

#: Findings that came after the judge, and so took nothing away from a claim.
_AFTER = ("claim-", "layout-", "area-", "result-")


def computed_again(result: Result) -> Iterator[Finding]:
    """Hold residuals against positions, roles against the job, and figures against residuals."""
    checkpoints = _mapping(result.job.get("checkpoints"))
    control = tuple(checkpoints.get("control") or ())
    excluded = tuple(_mapping(one).get("id") for one in checkpoints.get("exclude") or ())
    if control != result.control or excluded != tuple(out.id for out in result.excluded):
        yield _differs("control or excluded points of the record are not those of its job", None)
    for dataset in result.datasets:
        name = dataset.name
        for row in dataset.residuals:
            role = (
                "control"
                if row.id in control
                else "excluded"
                if row.id in excluded
                else "checkpoint"
            )
            if row.role != role or (row.used and role != "checkpoint"):
                yield _differs(f"{row.id} is counted as {row.role}, the job makes it {role}", name)
            for axis in ("east_m", "north_m", "up_m"):
                if not _consistent(row, axis):
                    yield _differs(
                        f"the {axis[:-2]} residual of {row.id} is not measured minus surveyed", name
                    )
        again = plain(figures(*_columns(dataset.residuals)))
        stated = plain(dataset.figures)
        if len(again) != len(stated):
            yield _differs(f"{len(stated)} figures stand for {len(again)} that follow", name)
        for one, other in zip(stated, again, strict=False):
            if not _same(one, other):
                what = f"{one['statistic']} {one['component']}, {one['cover']}"
                yield _differs(
                    f"figure {what}: {one['value']} (n {one['n']}) stands there, {other['value']} "
                    f"(n {other['n']}) follows from the residuals",
                    name,
                )


def judged_again(result: Result, places: Mapping[str, Path]) -> Iterator[Finding]:
    """Judge every claim by the residuals, and compare verdict, reason and checks.

    Parameters
    ----------
    places : mapping of str to Path
        Inputs that were found unchanged: a client's own standard is read from there.
    """
    claimed = result.claimed
    land_covers = _land_covers(result, places)
    for dataset in result.datasets:
        mine = [one for one in claimed if one.get("dataset") == dataset.name]
        if len(mine) != len(dataset.claims):
            yield _verdict(f"{len(dataset.claims)} claims for {len(mine)} in the job", dataset.name)
        evidence = _evidence(result, dataset, land_covers)
        for job_claim, claim in zip(mine, dataset.claims, strict=False):
            keys = {k: v for k, v in job_claim.items() if k not in ("dataset", "standard")}
            if keys != dict(claim.claimed):
                yield _verdict(f"{claim.standard}: the class is not that of the job", dataset.name)
            yield from _judged(str(job_claim.get("standard")), keys, claim, evidence, places)
    verdicts = [claim.verdict for dataset in result.datasets for claim in dataset.claims]
    # claims on something else than residuals, where a result has some: their verdicts are taken as they stand
    verdict = overall([*verdicts, *getattr(result, "line_verdicts", ())])
    if verdict != result.verdict:
        yield _verdict(f"overall {result.verdict!r} stands there, {verdict!r} follows", None)


def _judged(
    name: str,
    keys: Mapping[str, Any],
    claim: ClaimResult,
    evidence: Evidence,
    places: Mapping[str, Path],
) -> Iterator[Finding]:
    try:
        standard: Standard = load_standard(str(places[name]) if name in places else name)
        judgement = judge(standard, keys, evidence)
    except (StandardsError, TypeError, ValueError, KeyError) as error:
        yield Finding(
            "recheck-verdict",
            Severity.WARNING,
            f"{claim.standard} cannot be judged again: {getattr(error, 'message', error)}",
            dataset=evidence.dataset,
            remedy="put the client's specification where --files looks",
        )
        return
    reason = "; ".join(judgement.reasons) or None
    checks = plain(judgement.checks)
    if judgement.verdict != claim.verdict or reason != claim.reason:
        yield _verdict(
            f"{claim.standard}: {claim.verdict!r} stands there"
            + (f" ({claim.reason})" if claim.reason else "")
            + f", {judgement.verdict!r} follows"
            + (f" ({reason})" if reason else ""),
            evidence.dataset,
        )
    stated = plain(claim.checks)
    if len(stated) != len(checks) or not all(
        _same(one, other) for one, other in zip(stated, checks, strict=False)
    ):
        yield _verdict(f"{claim.standard}: its checks do not follow", evidence.dataset)


def _land_covers(result: Result, places: Mapping[str, Path]) -> Mapping[str, str]:
    """Read the names of land covers from the table, if it is at hand: the record has the groups alone."""
    table = next((item.path for item in result.inputs if item.role == "checkpoints"), "")
    if table not in places:
        return {}
    said = _mapping(result.job.get("checkpoints"))
    read = read_checkpoints(
        places[table], said.get("order"), said.get("layer"), repeats=bool(said.get("repeats"))
    )
    return {point.id: point.land_cover for point in read.points}


def _taken(dataset: DatasetResult, said: Mapping[str, Any]) -> TakenHeights | None:
    """Say how heights of a point cloud were taken, by the job in the record."""
    if dataset.kind != "point-cloud":
        return None
    patch = patch_of(
        said.get("height"),
        said.get("neighbourhood_shape"),
        said.get("neighbourhood_across_m"),
        said.get("neighbourhood_across_spacings"),
        said.get("design_anps_m"),
        said.get("neighbourhood_least_points"),
    )
    return TakenHeights(
        dataset.height_method or "tin",
        shape=patch.shape if patch else None,
        across_m=patch.across_m if patch else None,
        design_spacing_m=said.get("design_anps_m"),
    )


def _evidence(result: Result, dataset: DatasetResult, land_covers: Mapping[str, str]) -> Evidence:
    used = [row for row in dataset.residuals if row.used]
    said = next(
        (
            one
            for one in map(_mapping, result.job.get("dataset") or ())
            if one.get("name") == dataset.name
        ),
        {},
    )
    numbers: dict[tuple[float | None, float | None], int] = {}
    place = {}
    for row in dataset.residuals:
        at = [
            row.native.get(f"given_{axis}", row.native.get(axis))
            for axis in ("easting", "northing")
        ]
        place[row.id] = numbers.setdefault((at[0], at[1]), len(numbers))

    def blocked(component: Component) -> tuple[str, ...]:
        return tuple(
            dict.fromkeys(
                finding.message
                for finding in result.findings
                if not finding.code.startswith(_AFTER) and finding.blocks(dataset.name, component)
            )
        )

    east_m, north_m, up_m, vegetated, survey_h_m, survey_v_m = _columns(dataset.residuals)
    return Evidence(
        dataset=dataset.name,
        kind=dataset.kind,
        ids=tuple(row.id for row in used),
        east_m=east_m,
        north_m=north_m,
        up_m=up_m,
        vegetated=vegetated,
        survey_rmse_h_m=survey_h_m,
        survey_rmse_v_m=survey_v_m,
        survey_method=_mapping(result.job.get("checkpoints")).get("survey_method"),
        adjusted_to_points=bool(said.get("adjusted_to_points", False)),
        blocked_horizontal=blocked("horizontal"),
        blocked_vertical=blocked("vertical"),
        place=tuple(place[row.id] for row in used),
        heights=_taken(dataset, said),
        land_cover=tuple(land_covers.get(row.id, "") for row in used),
    )


def _columns(rows: Sequence[ResidualRow]) -> tuple[NDArray[Any], ...]:
    used = [row for row in rows if row.used]

    def column(values: list[float | None]) -> NDArray[np.float64]:
        return np.array([np.nan if v is None else v for v in values], dtype=np.float64)

    return (
        *(
            column([getattr(row.residual, axis) if row.residual else None for row in used])
            for axis in ("east_m", "north_m", "up_m")
        ),
        np.array([row.cover == "vegetated" for row in used], dtype=np.bool_),
        column([row.survey_rmse_h_m for row in used]),
        column([row.survey_rmse_v_m for row in used]),
    )


def _consistent(row: ResidualRow, axis: str) -> bool:
    """Whether a residual is the difference of its positions, where all three are there."""
    if row.residual is None or row.measured is None:
        return row.residual is None or getattr(row.residual, axis) is None
    residual = getattr(row.residual, axis)
    measured, surveyed = getattr(row.measured, axis), getattr(row.surveyed, axis)
    if residual is None or measured is None or surveyed is None:
        return True  # degrees have no metres; an axis that is not tested has no residual
    return bool(abs(measured - surveyed - residual) <= SAME_POSITION_M)


def _same(one: Any, other: Any) -> bool:
    """Compare two values of records, numbers to `SAME`."""
    if isinstance(one, Mapping) and isinstance(other, Mapping):
        return one.keys() == other.keys() and all(_same(one[k], other[k]) for k in one)
    if isinstance(one, list) and isinstance(other, list):
        return len(one) == len(other) and all(map(_same, one, other))
    if isinstance(one, float) or isinstance(other, float):
        if isinstance(one, bool) or isinstance(other, bool) or one is None or other is None:
            return False
        return math.isclose(float(one), float(other), rel_tol=SAME, abs_tol=SAME)
    return bool(one == other and type(one) is type(other))


def _mapping(value: Any) -> Mapping[str, Any]:
    return value if isinstance(value, Mapping) else {}


def _differs(told: str, dataset: str | None) -> Finding:
    return Finding(
        "recheck-figures",
        Severity.BLOCKING,
        told,
        dataset=dataset,
        remedy="the record was changed, or another version computed it; verify the job again",
    )


def _verdict(told: str, dataset: str | None) -> Finding:
    return Finding(
        "recheck-verdict",
        Severity.BLOCKING,
        told,
        dataset=dataset,
        remedy=f"the record was changed, or judged by other rules than those of accuracy {__version__}; "
        "verify the job again",
    )
