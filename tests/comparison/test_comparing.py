"""Comparison of runs. Sites, errors and settings are invented; the true difference is known."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import compare_site
import jsonschema
import numpy as np
import pytest
from compare_site import errors, run
from support import assert_metres

from accuracy.comparison import compare
from accuracy.comparison.changes import flat
from accuracy.comparison_record import Comparison, comparison_schema
from accuracy.errors import ExitCode, UsageError
from accuracy.reports.comparison_text import render
from accuracy.result import Result

N = compare_site.POINTS


def held(*runs: Result, **options: Any) -> Comparison:
    """Compare; every record is valid against the shipped schema and can be printed."""
    comparison = compare(*runs, **options)
    jsonschema.validate(json.loads(comparison.to_json()), comparison_schema())
    assert render(comparison)
    return comparison


def codes(comparison: Comparison) -> set[str]:
    return {finding.code for finding in comparison.findings}


@pytest.fixture(scope="module")
def runs(tmp_path_factory: pytest.TempPathFactory) -> Mapping[str, Result]:
    folder = tmp_path_factory.mktemp("runs")
    return {
        name: run(folder / name, errors(name), processing=settings)
        for name, (_, _, settings) in compare_site.RUNS.items()
    }


# --- the verdict ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "outcome", "code"),
    [
        ("better", "better", ExitCode.PASSES),
        ("worse", "worse", ExitCode.FAILS),
        ("undecided", "no-difference-shown", ExitCode.PASSES),
    ],
)
def test_the_known_difference_is_found(
    runs: Mapping[str, Result], name: str, outcome: str, code: ExitCode
) -> None:
    """Better, worse and neither, with the exit code that can fail a build."""
    comparison = held(runs["before"], runs[name])
    assert comparison.verdict == outcome
    assert comparison.exit_code == code
    (group,) = comparison.groups
    (pair,) = group.pairs
    assert_metres(pair.rmse_after_m, np.sqrt(np.mean(errors(name) ** 2)), within_m=1e-9)
    assert_metres(group.tolerance_m or 0, 0.0125, within_m=1e-12)
    assert "a quarter of the limit" in group.tolerance_source
    assert len(group.ids) == N


def test_exchanged_runs_give_the_opposite_verdict_and_the_same_p(
    runs: Mapping[str, Result],
) -> None:
    """Better one way is worse the other way."""
    there, back = held(runs["before"], runs["better"]), held(runs["better"], runs["before"])
    assert (there.verdict, back.verdict) == ("better", "worse")
    assert there.groups[0].pairs[0].p == back.groups[0].pairs[0].p


def test_a_run_against_itself_shows_nothing(runs: Mapping[str, Result]) -> None:
    """No change, no difference, p = 1, and the reader is told that it is one run."""
    comparison = held(runs["before"], runs["before"])
    assert comparison.verdict == "no-difference-shown"
    assert comparison.changes == ()
    assert comparison.groups[0].pairs[0].p == 1.0
    assert comparison.groups[0].pairs[0].differing == 0
    assert comparison.settings.tests == 0
    assert "compare-same-run" in codes(comparison)
    assert "nothing: the same inputs" in render(comparison)


def scaled(folder: Path, factor: float, name: str) -> Result:
    """Verify the run before with all errors scaled."""
    return run(folder / name, (errors("before") * factor).round(4))


def test_each_of_the_three_conditions_can_stop_a_verdict(tmp_path: Path) -> None:
    """Significant but within the tolerance; beyond it but within what shared errors do; beyond all."""
    before, after = scaled(tmp_path, 1.0, "a"), scaled(tmp_path, 0.6, "b")
    (pair,) = held(before, after).groups[0].pairs
    assert (pair.significant, pair.beyond_tolerance, pair.beyond_shared) == (True, True, False)
    assert pair.outcome == "no-difference-shown"
    assert "--same-flight" in pair.reason
    assert held(before, after, same_flight=True).verdict == "better"
    (pair,) = held(before, after, same_flight=True, tolerance_m=0.03).groups[0].pairs
    assert (pair.significant, pair.beyond_tolerance) == (True, False)
    assert "tolerance" in pair.reason
    assert held(before, scaled(tmp_path, 0.5, "c")).verdict == "better"


def test_one_trajectory_by_its_hash_is_one_flight(tmp_path: Path) -> None:
    """Results that name the same trajectory share its errors; other trajectories, or one without, do not."""

    def flown(result: Result, *hashes: str) -> Result:
        table = next(item for item in result.inputs if item.role == "checkpoints")
        more = [replace(table, role="trajectory", path="t.csv", sha256=its) for its in hashes]
        return replace(result, inputs=(*result.inputs, *more))

    before, after = scaled(tmp_path, 1.0, "a"), scaled(tmp_path, 0.6, "b")
    one, other = "a" * 64, "b" * 64
    same = held(flown(before, one), flown(after, one))
    assert same.verdict == "better"
    assert same.settings.same_flight
    assert "compare-one-trajectory" in codes(same)
    for pair in (
        (flown(before, one), flown(after, other)),
        (flown(before, one), after),
        (before, after),
    ):
        apart = held(*pair)
        assert apart.verdict == "no-difference-shown"
        assert "compare-one-trajectory" not in codes(apart)


def test_too_few_checkpoints_say_so(tmp_path: Path) -> None:
    """Five points have no p below 0.0625: no difference can be shown, and the text says why."""
    before = run(tmp_path / "a", errors("before")[:5])
    after = run(tmp_path / "b", errors("before")[:5] * 0.01)
    comparison = held(before, after)
    (pair,) = comparison.groups[0].pairs
    assert pair.p == 0.0625
    assert comparison.verdict == "no-difference-shown"
    assert "can show no difference" in pair.reason
    assert (pair.smallest_better_m, pair.smallest_worse_m) == (None, None)


def test_all_tests_of_a_comparison_share_one_level(tmp_path: Path) -> None:
    """Two claimed components: p is adjusted by Holm, so that one comparison has 5 % false alarms, not 10."""
    claims = [{"standard": "asprs-2024", "vertical_class_cm": 5.0, "horizontal_class_cm": 5.0}]
    random = np.random.default_rng(3)
    plane = random.standard_normal((N, 2)) * 0.02
    before = run(tmp_path / "a", errors("before"), claims=claims, horizontal_m=plane)
    after = run(tmp_path / "b", errors("better"), claims=claims, horizontal_m=plane[::-1])
    comparison = held(before, after)
    assert comparison.settings.tests == 2
    by = {group.component: group.pairs[0] for group in comparison.groups}
    assert set(by) == {"up", "horizontal"}
    assert by["up"].p_adjusted == 2 * by["up"].p
    assert by["up"].outcome == "better"
    assert by["horizontal"].outcome == "no-difference-shown"
    assert [axis.axis for axis in by["horizontal"].axes] == ["east", "north"]
    radial = np.sqrt(np.mean((plane.round(4) ** 2).sum(axis=1)))
    assert_metres(by["horizontal"].rmse_before_m, radial, within_m=1e-4)


# --- what must not matter ------------------------------------------------------------------------------------


def without_text(comparison: Comparison) -> object:
    """Give what was found, without what names files."""
    return comparison.groups, comparison.claims, comparison.points, comparison.verdict


def test_order_of_points_and_names_of_files_do_not_matter(tmp_path: Path) -> None:
    """Reordered checkpoints and renamed files: the same answer, and the files are called renamed."""
    before = run(tmp_path / "a", errors("before"))
    plain = run(tmp_path / "b", errors("better"))
    order = np.random.default_rng(1).permutation(N).tolist()
    mixed = run(
        tmp_path / "c", errors("better"), order=order, measured="new.csv", table="other.csv"
    )
    assert without_text(held(before, plain)) == without_text(held(before, mixed))
    renamed = run(tmp_path / "d", errors("before"), measured="m.csv", table="t.csv")
    kinds = {(c.area, c.kind) for c in held(before, renamed).changes}
    assert ("input", "renamed") in kinds
    assert ("input", "changed") not in kinds


def test_order_of_datasets_and_claims_does_not_matter(runs: Mapping[str, Result]) -> None:
    """The job's lists are known by their names, not by their places."""
    twice = [
        replace(result, datasets=(result.datasets[0], replace(result.datasets[0], name="other")))
        for result in (runs["before"], runs["better"])
    ]
    turned = replace(twice[1], datasets=twice[1].datasets[::-1])
    one, other = held(*twice), held(twice[0], turned)
    assert without_text(one) == without_text(other)


# --- what changed --------------------------------------------------------------------------------------------


def test_changes_are_told_by_area(tmp_path: Path, runs: Mapping[str, Result]) -> None:
    """Settings, inputs by hash, job keys, standard, versions."""
    after = run(
        tmp_path / "b",
        errors("better"),
        processing={"strip": {"adjusted": True}, "filter": "median"},
        claims=[{"standard": "asprs-2014", "vertical_class_cm": 5.0}],
    )
    after = replace(after, run=replace(after.run, tool_version="9.9"))
    told = {
        (c.area, c.what): (c.kind, c.before, c.after) for c in held(runs["before"], after).changes
    }
    assert told["processing", "strip.adjusted"] == ("changed", "false", "true")
    assert told["processing", "filter"] == ("added", None, '"median"')
    assert told["processing", "trajectory_smoothing"] == ("removed", "1", None)
    assert told["input", "deliverable measured.csv"][0] == "changed"
    assert ("input", "checkpoints points.csv") not in told
    assert told["standard", "asprs-2024"][0] == "removed"
    assert told["version", "accuracy"][2] == "9.9"
    assert any(area == "job" and "claim[" in what for area, what in told)


def test_a_job_flattens_by_names() -> None:
    """Entries of lists go by name, sets are sorted: moving a dataset changes nothing."""
    one = {"dataset": [{"name": "a", "files": ["2", "1"]}, {"name": "b"}]}
    other = {"dataset": [{"name": "b"}, {"name": "a", "files": ["1", "2"]}]}
    assert flat(one) == flat(other)
    assert flat({"claim": [1, 2]}) == {"claim": "[1, 2]"}


# --- checkpoints ---------------------------------------------------------------------------------------------


def test_checkpoints_gained_and_lost_are_told_and_left_out(
    tmp_path: Path, runs: Mapping[str, Result]
) -> None:
    """Leaving the worst points out does not make a run better: only common points are compared."""
    before = run(tmp_path / "a", errors("before"), control=["P01"])
    worst = np.argsort(-abs(errors("before")))[:4]
    dropped = [f"P{i + 1:02d}" for i in worst]
    after = run(tmp_path / "b", errors("before"), control=dropped)
    comparison = held(before, after)
    (points,) = comparison.points
    assert {note.id for note in points.lost} == {*dropped} - {"P01"}
    assert all("control" in note.reason for note in points.lost)
    assert {note.id for note in points.gained} == {"P01"} - {*dropped}
    assert comparison.groups[0].pairs[0].change_m == 0.0
    assert "compare-checkpoint-lost" in codes(comparison)
    assert not set(comparison.groups[0].ids) & {*dropped, "P01"}


@pytest.mark.parametrize("shift_m", [0.0002, 0.5])
def test_a_moved_checkpoint_is_not_compared(tmp_path: Path, shift_m: float) -> None:
    """Other surveyed coordinates, from 0.1 mm: another survey or place, a finding, and not compared."""
    before = run(tmp_path / "a", errors("before"))
    after = run(tmp_path / "b", errors("before"), shift_m={"P07": shift_m})
    comparison = held(before, after)
    (points,) = comparison.points
    assert [note.id for note in points.moved] == ["P07"]
    assert f"easting {shift_m:+.4f} m" in points.moved[0].reason
    assert "P07" not in comparison.groups[0].ids
    assert "compare-checkpoint-moved" in codes(comparison)


def test_without_common_checkpoints_the_code_is_3(
    tmp_path: Path, runs: Mapping[str, Result]
) -> None:
    """Other ids, or all moved: no verdict, blocking, exit 3."""
    other = run(tmp_path / "a", errors("better"), ids=[f"X{i}" for i in range(N)])
    moved = run(tmp_path / "b", errors("better"), shift_m={f"P{i:02d}": 1.0 for i in range(N + 1)})
    for after in (other, moved):
        comparison = held(runs["before"], after)
        assert comparison.verdict == "no-verdict"
        assert comparison.exit_code == ExitCode.NO_STATEMENT
        assert "compare-no-common" in codes(comparison)


def test_another_frame_on_both_sides_cannot_be_told_apart(runs: Mapping[str, Result]) -> None:
    """Neither the deliverables nor the tables share a reference system: blocking, not compared."""
    after = runs["better"]
    dataset = replace(after.datasets[0], wkt="PROJCRS[other]")
    inputs = tuple(
        replace(item, reference=replace(item.reference, horizontal_wkt="other"))
        if item.reference
        else item
        for item in after.inputs
    )
    comparison = held(runs["before"], replace(after, datasets=(dataset,), inputs=inputs))
    assert "compare-positions-unknown" in codes(comparison)
    assert comparison.exit_code == ExitCode.NO_STATEMENT
    # one table in one system is enough, whatever the deliverables are in
    same_table = held(runs["before"], replace(after, datasets=(dataset,)))
    assert same_table.verdict == "better"


def test_values_that_are_no_numbers_are_left_out(runs: Mapping[str, Result]) -> None:
    """A residual of NaN or infinity, however it came there, is a lost checkpoint, not a number."""
    after = runs["better"]
    rows = list(after.datasets[0].residuals)
    for i, value in enumerate((float("nan"), float("inf"))):
        assert rows[i].residual is not None
        rows[i] = replace(rows[i], residual=replace(rows[i].residual, up_m=value))
    after = replace(after, datasets=(replace(after.datasets[0], residuals=tuple(rows)),))
    after = replace(after, datasets=after.datasets)
    from accuracy.comparison.loading import LoadedRun

    comparison = compare(runs["before"], LoadedRun("after", "0" * 64, after))
    assert len(comparison.groups[0].ids) == N - 2
    assert comparison.verdict == "better"
    jsonschema.validate(json.loads(comparison.to_json()), comparison_schema())


def test_a_changed_cover_leaves_its_group(tmp_path: Path) -> None:
    """A checkpoint that is vegetated in one run only is in no cover's comparison, and that is told."""
    covers = ["non-vegetated"] * N
    before = run(tmp_path / "a", errors("before"), covers=covers)
    after = run(tmp_path / "b", errors("better"), covers=["vegetated", *covers[1:]])
    comparison = held(before, after)
    assert "compare-cover-changed" in codes(comparison)
    assert all("P01" not in group.ids for group in comparison.groups)


# --- claims and tolerances -----------------------------------------------------------------------------------


def test_a_claim_that_passed_and_now_fails_is_exit_1_without_a_shown_difference(
    tmp_path: Path,
) -> None:
    """RMSE 0.049 against 0.051 under a limit of 0.050: no difference is shown, but the claim flips."""
    base = np.where(np.arange(N) % 2 == 0, 1.0, -1.0)
    before = run(tmp_path / "a", base * 0.049)
    after = run(tmp_path / "b", base * 0.051)
    comparison = held(before, after)
    assert comparison.verdict == "no-difference-shown"
    assert [(c.before, c.after) for c in comparison.flips] == [("passes", "fails")]
    assert comparison.exit_code == ExitCode.FAILS
    assert render(comparison).startswith("NO DIFFERENCE SHOWN, AND 1 claim that passed now fails")
    assert held(after, before).exit_code == ExitCode.PASSES


def test_a_claim_that_lost_its_statement_or_is_dropped_is_exit_3(
    tmp_path: Path, runs: Mapping[str, Result]
) -> None:
    """Nothing is known of it any more, so it must not look green."""
    few = run(tmp_path / "a", errors("before")[:20])
    comparison = held(runs["before"], few)
    assert [(c.before, c.after) for c in comparison.flips] == [("passes", "no-statement")]
    assert comparison.exit_code == ExitCode.NO_STATEMENT
    silent = run(tmp_path / "b", errors("before"), claims=[])
    comparison = held(runs["before"], silent)
    assert "compare-claim-dropped" in codes(comparison)
    assert comparison.exit_code == ExitCode.NO_STATEMENT


def test_without_a_limit_there_is_no_verdict_unless_a_tolerance_is_named(tmp_path: Path) -> None:
    """NSSDA without a threshold: figures only, exit 3; with --tolerance-m a verdict."""
    claims = [{"standard": "nssda-1998"}]
    before = run(tmp_path / "a", errors("before"), claims=claims)
    after = run(tmp_path / "b", errors("better"), claims=claims)
    comparison = held(before, after)
    assert comparison.verdict == "no-verdict"
    assert comparison.exit_code == ExitCode.NO_STATEMENT
    assert "compare-no-limit" in codes(comparison)
    assert all(pair.p < 0.05 for g in comparison.groups if g.component == "up" for pair in g.pairs)
    assert held(before, after, tolerance_m=0.005).verdict == "better"


@pytest.mark.parametrize(
    ("claim", "tolerance_m"),
    [
        ({"standard": "asprs-2024", "vertical_class_cm": 10.0}, 0.025),
        # 1.96 times the RMSE is claimed, so the limit on the RMSE is 0.10 m
        ({"standard": "nssda-1998", "vertical_95_m": 0.196}, 0.025),
    ],
)
def test_the_default_tolerance_is_a_quarter_of_the_limit_on_the_rmse(
    tmp_path: Path, claim: Mapping[str, Any], tolerance_m: float
) -> None:
    """A limit on 95 % is brought to the RMSE first, and the text says so."""
    before = run(tmp_path / "a", errors("before"), claims=[claim])
    (group, *_) = [g for g in held(before, before).groups if g.component == "up"]
    assert_metres(group.tolerance_m or 0, tolerance_m, within_m=1e-12)


def test_vegetated_points_without_a_limit_take_that_of_the_same_component(tmp_path: Path) -> None:
    """Vegetated ground is only reported by the standard: the claimed class still says what matters."""
    covers = ["non-vegetated"] * 30 + ["vegetated"] * 10
    before = run(tmp_path / "a", errors("before"), covers=covers)
    groups = {g.cover: g for g in held(before, before).groups}
    assert groups["vegetated"].tolerance_m == groups["non-vegetated"].tolerance_m
    assert "no limit is claimed for this cover" in groups["vegetated"].tolerance_source


@pytest.mark.parametrize("tolerance_m", [-0.01, float("nan"), float("inf")])
def test_a_tolerance_must_be_a_length(runs: Mapping[str, Result], tolerance_m: float) -> None:
    """Negative, NaN and infinite tolerances are refused."""
    with pytest.raises(UsageError, match="tolerance"):
        compare(runs["before"], runs["better"], tolerance_m=tolerance_m)


# --- datasets and many runs ----------------------------------------------------------------------------------


def test_datasets_are_paired_by_name_or_as_the_only_ones(
    tmp_path: Path, runs: Mapping[str, Result]
) -> None:
    """The only dataset of each run is compared whatever it is called, and that is told."""
    other = run(tmp_path / "a", errors("better"), dataset="ground cloud")
    comparison = held(runs["before"], other)
    assert comparison.verdict == "better"
    assert "compare-dataset-by-order" in codes(comparison)
    assert [(c.before, c.after) for c in comparison.claims] == [("passes", "passes")]
    both = replace(
        runs["before"],
        datasets=(*runs["before"].datasets, replace(runs["before"].datasets[0], name="second")),
    )
    comparison = held(both, runs["better"])
    assert "compare-dataset-missing" in codes(comparison)
    assert comparison.exit_code == ExitCode.NO_STATEMENT


def test_many_runs_are_ranked_and_ties_told(runs: Mapping[str, Result]) -> None:
    """Best first; runs that are not shown to differ share a letter; the order handed in does not matter."""
    names = ["before", "better", "undecided", "worse"]
    comparison = held(*(runs[name] for name in names))
    ranking = comparison.groups[0].ranking
    assert [names[rank.run] for rank in ranking][0::3] == ["better", "worse"]
    letters = {names[rank.run]: rank.letters for rank in ranking}
    assert letters["before"] == letters["undecided"]
    assert len({letters["before"], letters["better"], letters["worse"]}) == 3
    assert comparison.settings.tests == 6
    turned = names[::-1]
    again = held(*(runs[name] for name in turned)).groups[0].ranking
    assert [(turned[r.run], r.letters) for r in again] == [
        (names[r.run], r.letters) for r in ranking
    ]
