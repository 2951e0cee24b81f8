"""The comparison: the complete record of runs held against each other, to and from JSON.

Every other output is a view of it. Lengths are metres. Runs are named by their number in `Comparison.runs`;
number 0 is the one that the others are held against. The shape is that of
``accuracy/comparison.schema.json``, which is shipped with the package.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources
from typing import Any, Literal

from accuracy.errors import ExitCode
from accuracy.findings import Finding
from accuracy.result import Overall, Verdict, plain
from accuracy.stats import Component, Cover
from accuracy.stats.paired import Shift, SpreadRatio
from accuracy.units import LengthUnit

FORMAT = "accuracy-comparison"

#: 1: first.
FORMAT_VERSION = 1

#: Of one test, and of the whole.
Outcome = Literal["better", "worse", "no-difference-shown", "no-verdict"]

Area = Literal["input", "job", "processing", "standard", "dataset", "transformation", "version"]


@dataclass(frozen=True)
class RunSide:
    """One run as handed in: its label, the hash of its result, and what tells it from others."""

    label: str
    sha256: str
    title: str
    site: str | None
    sensor: str | None
    flown: str | None
    processing: Mapping[str, Any]
    verdict: Overall
    tool_version: str
    finished: str


@dataclass(frozen=True)
class Settings:
    """How was compared.

    Attributes
    ----------
    level : float
        Two-sided, for all tests of the comparison together (Holm).
    tests : int
        Number of tests that `level` is shared by.
    tolerance_m : float or None
        As asked for; None for the default, a share of the claimed limit.
    tolerance_share : float
        Share of the claimed limit that makes the default.
    same_flight : bool
        Whether the runs were declared to be of one flight.
    least_ratio : float
        The larger RMSE must be more than so many times the smaller; 1 where `same_flight`.
    exact_up_to, draws, seed : int
        Patterns of signs are counted up to so many points; beyond, so many are drawn from this seed.
    power : float
        Behind the smallest changes.
    """

    level: float
    tests: int
    tolerance_m: float | None
    tolerance_share: float
    same_flight: bool
    least_ratio: float
    exact_up_to: int
    draws: int
    seed: int
    power: float


@dataclass(frozen=True)
class Change:
    """One thing that is not as in run 0. `before` and `after` are texts; None where there is nothing."""

    run: int
    area: Area
    what: str
    kind: Literal["changed", "added", "removed", "renamed"]
    before: str | None
    after: str | None


@dataclass(frozen=True)
class PointNote:
    """One checkpoint that is not compared, or new, in a run, with the reason."""

    run: int
    id: str
    reason: str


@dataclass(frozen=True)
class Points:
    """The checkpoints of one dataset: common to all runs, and not."""

    dataset: str
    common: tuple[str, ...]
    gained: tuple[PointNote, ...]
    lost: tuple[PointNote, ...]
    moved: tuple[PointNote, ...]


@dataclass(frozen=True)
class AxisInfo:
    """Bias and spread of one axis: information, never a verdict. None where there is no answer."""

    axis: Literal["east", "north", "up"]
    mean_before_m: float
    mean_after_m: float
    shift: Shift | None
    std_before_m: float | None
    std_after_m: float | None
    spread: SpreadRatio | None


@dataclass(frozen=True)
class Pair:
    """Two runs on the same checkpoints.

    Attributes
    ----------
    before, after : int
        Numbers of the runs.
    rmse_before_m, rmse_after_m, change_m : float
        Radial for ``horizontal`` and ``3d``; change is after minus before.
    p, p_adjusted : float
        Of the sign-flip test, and adjusted for all tests of the comparison.
    differing : int
        Points at which the two runs differ at all. Where there are none, the test is not one of those that
        share the level: it can raise no alarm.
    draws : int or None
        Patterns of signs drawn; None where all were counted.
    significant, beyond_tolerance, beyond_shared : bool or None
        The three conditions of a verdict; None where there is no tolerance.
    outcome, reason : str
        The verdict on `after`, and why.
    smallest_better_m, smallest_worse_m : float or None
        Smallest changes of the RMSE that these points would show with the probability of the settings.
    axes : tuple of AxisInfo
        Information.
    """

    before: int
    after: int
    rmse_before_m: float
    rmse_after_m: float
    change_m: float
    p: float
    p_adjusted: float
    differing: int
    draws: int | None
    significant: bool
    beyond_tolerance: bool | None
    beyond_shared: bool
    outcome: Outcome
    reason: str
    smallest_better_m: float | None
    smallest_worse_m: float | None
    axes: tuple[AxisInfo, ...]


@dataclass(frozen=True)
class Rank:
    """Place of a run in a group; the best has place 1. Runs with a common letter are not shown to differ."""

    place: int
    run: int
    rmse_m: float
    letters: str


@dataclass(frozen=True)
class Group:
    """One component and cover of one dataset that something is claimed of.

    Attributes
    ----------
    claims : tuple of str
        Names of the checks behind it.
    tolerance_m, tolerance_source : float or None, str
        Change of the RMSE that must be exceeded, and where it comes from.
    ids : tuple of str
        Common checkpoints, sorted.
    residuals_m : tuple of tuple of float
        For each run, in the order of `ids`: signed for one axis, lengths for ``horizontal`` and ``3d``.
    pairs : tuple of Pair
        Every two runs. Empty without common checkpoints.
    ranking : tuple of Rank
        Best first; empty for two runs, or without tolerance.
    """

    dataset: str
    component: Component
    cover: Cover
    claims: tuple[str, ...]
    tolerance_m: float | None
    tolerance_source: str
    ids: tuple[str, ...]
    residuals_m: tuple[tuple[float, ...], ...]
    pairs: tuple[Pair, ...]
    ranking: tuple[Rank, ...]


@dataclass(frozen=True)
class ClaimPair:
    """One claim in run 0 and in a later one; None on the side where it is not made."""

    run: int
    dataset: str
    standard: str
    claimed_before: Mapping[str, float | int | str | bool] | None
    claimed_after: Mapping[str, float | int | str | bool] | None
    before: Verdict | None
    after: Verdict | None

    @property
    def flipped(self) -> bool:
        """Whether the verdict is another one."""
        return self.before != self.after


@dataclass(frozen=True)
class Comparison:
    """The complete record of one comparison. Fields are those of the shipped JSON Schema."""

    tool_version: str
    runs: tuple[RunSide, ...]
    display_units: LengthUnit
    settings: Settings
    changes: tuple[Change, ...]
    points: tuple[Points, ...]
    groups: tuple[Group, ...]
    claims: tuple[ClaimPair, ...]
    findings: tuple[Finding, ...]
    verdict: Outcome
    format: str = FORMAT
    format_version: int = FORMAT_VERSION

    @property
    def flips(self) -> tuple[ClaimPair, ...]:
        """Claims whose verdict is another one."""
        return tuple(pair for pair in self.claims if pair.flipped)

    @property
    def exit_code(self) -> ExitCode:
        """What the process tells its caller.

        1: a run is worse, or a claim passed and now fails. 3: something claimed has no common checkpoints, no
        test had a tolerance, or a claim that passed has no statement now.
        """
        lost = [pair for pair in self.claims if pair.before == "passes"]
        if self.verdict == "worse" or any(pair.after == "fails" for pair in lost):
            return ExitCode.FAILS
        unknown = self.verdict == "no-verdict" or any(not group.ids for group in self.groups)
        if unknown or any(pair.after in (None, "no-statement") for pair in lost):
            return ExitCode.NO_STATEMENT
        return ExitCode.PASSES

    def to_json(self) -> str:
        """Write the record as JSON text."""
        data = plain(self)
        ordered = {key: data[key] for key in ("format", "format_version")} | data
        return json.dumps(ordered, ensure_ascii=False, indent=1, allow_nan=False) + "\n"


def comparison_schema() -> dict[str, Any]:
    """Give the JSON Schema of a comparison."""
    text = resources.files("accuracy").joinpath("comparison.schema.json").read_text("utf-8")
    schema: dict[str, Any] = json.loads(text)
    return schema
