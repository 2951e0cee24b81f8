"""Every standard's own worked examples, read from its file: adding a standard adds its test."""

from __future__ import annotations

import numpy as np
import pytest
from support import assert_metres

from accuracy.standards.judge import Evidence, judge
from accuracy.standards.library import Standard, WorkedExample, list_standards
from accuracy.stats import ESTIMATORS, combine_survey

EXAMPLES = [
    pytest.param(standard, example, id=f"{standard.id}: {example.name}")
    for standard in list_standards()
    for example in standard.worked_examples
]


def evidence_of(example: WorkedExample) -> Evidence:
    """Residuals of an example as evidence; axes that are not given are not available."""
    n = max(len(axis) for axis in (example.east_m, example.north_m, example.up_m))

    def array(values: tuple[float, ...]) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
        return np.array(values or [np.nan] * n, dtype=np.float64)

    def constant(value: float | None) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
        return np.full(n, np.nan if value is None else value)

    return Evidence(
        dataset="example",
        kind="measured-points",
        ids=tuple(str(i) for i in range(n)),
        east_m=array(example.east_m),
        north_m=array(example.north_m),
        up_m=array(example.up_m),
        vegetated=np.full(n, example.vegetated),
        survey_rmse_h_m=constant(example.survey_rmse_h_m),
        survey_rmse_v_m=constant(example.survey_rmse_v_m),
    )


@pytest.mark.parametrize(("standard", "example"), EXAMPLES)
def test_worked_example(standard: Standard, example: WorkedExample) -> None:
    """The published (or derived) values come out to the last digit given, and each check as stated."""
    evidence = evidence_of(example)
    for expected in example.expect:
        group = evidence.group(expected.component, expected.cover)
        value = ESTIMATORS[expected.statistic](group.axes)
        assert isinstance(value, float)
        if expected.survey_error_included:
            assert group.survey_rmse_m is not None
            value = combine_survey(value, group.survey_rmse_m)
        assert_metres(value, expected.value, within_m=0.5000001 * 10.0**-expected.decimals)
    if example.passes:
        checks = {
            id_: check
            for part in judge(standard, example.claim, evidence).parts
            for id_, check in part.checks.items()
        }
        assert {id_: checks[id_].passes for id_ in example.passes} == dict(example.passes)
