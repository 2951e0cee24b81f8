"""Worked examples of a standard's file, computed anew."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from accuracy.standards.judge.records import Evidence
from accuracy.standards.judge.verdict import judge
from accuracy.standards.library import Expectation, Standard, WorkedExample
from accuracy.stats import ESTIMATORS, combine_survey


@dataclass(frozen=True)
class Recomputed:
    """One worked example: every expected value beside the one found, in metres, and each check."""

    example: WorkedExample
    values: tuple[tuple[Expectation, float | None], ...]
    passes: Mapping[str, bool | None]

    @property
    def agrees(self) -> bool:
        """Whether every value comes out to the last decimal printed, and every check as stated."""
        close = all(
            found is not None and abs(found - wanted.value) <= 0.5000001 * 10.0**-wanted.decimals
            for wanted, found in self.values
        )
        return close and dict(self.passes) == dict(self.example.passes)


def evidence_of(example: WorkedExample) -> Evidence:
    """Give the residuals of an example as evidence; axes that are not given are not available."""
    import numpy as np

    n = max(len(axis) for axis in (example.east_m, example.north_m, example.up_m))
    h, v = example.survey_rmse_h_m, example.survey_rmse_v_m
    return Evidence(
        dataset="example",
        kind="measured-points",
        ids=tuple(str(i) for i in range(n)),
        east_m=np.array(example.east_m or [np.nan] * n, dtype=np.float64),
        north_m=np.array(example.north_m or [np.nan] * n, dtype=np.float64),
        up_m=np.array(example.up_m or [np.nan] * n, dtype=np.float64),
        vegetated=np.full(n, example.vegetated),
        survey_rmse_h_m=np.full(n, np.nan if h is None else h),
        survey_rmse_v_m=np.full(n, np.nan if v is None else v),
    )


def recompute(standard: Standard) -> tuple[Recomputed, ...]:
    """Compute every worked example of a standard anew."""
    return tuple(_recompute(standard, example) for example in standard.worked_examples)


def _recompute(standard: Standard, example: WorkedExample) -> Recomputed:
    evidence = evidence_of(example)
    values = []
    for wanted in example.expect:
        group = evidence.group(wanted.component, wanted.cover)
        found = ESTIMATORS[wanted.statistic](group.axes)
        number = found if isinstance(found, float) else None
        if wanted.survey_error_included and number is not None:
            known = group.survey_rmse_m
            number = None if known is None else combine_survey(number, known)
        values.append((wanted, number))
    passes: dict[str, bool | None] = {}
    if example.passes:
        judged = judge(standard, example.claim, evidence)
        checks = {id_: check for part in judged.parts for id_, check in part.checks.items()}
        passes = {id_: checks[id_].passes for id_ in example.passes}
    return Recomputed(example, tuple(values), MappingProxyType(passes))
