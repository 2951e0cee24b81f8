"""What the judge is given and what it gives: frozen records."""

from __future__ import annotations

from collections.abc import Container, Mapping
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any, Literal

from accuracy.findings import Finding
from accuracy.standards.library import Part
from accuracy.stats import COVERS, Component, Figure, Group, figures, select

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

Verdict = Literal["passes", "fails", "no-statement", "reported"]
StatementKind = Literal["tested", "failed", "reduced", "none", "reported"]

_ARRAYS = ("east_m", "north_m", "up_m", "survey_rmse_h_m", "survey_rmse_v_m")


@dataclass(frozen=True)
class TakenHeights:
    """How the heights of a point cloud were taken; lengths in metres.

    Attributes
    ----------
    method : str
        Height choice of the dataset.
    shape : {"circle", "square"} or None
        Of the neighbourhood, where the method takes one.
    across_m : float or None
        Its diameter or side.
    design_spacing_m : float or None
        Spacing that the flight was designed for.
    """

    method: str
    shape: Literal["circle", "square"] | None = None
    across_m: float | None = None
    design_spacing_m: float | None = None


@dataclass(frozen=True, eq=False)
class Evidence:
    """What was found on one dataset: residuals in metres and what stands against a statement.

    Attributes
    ----------
    dataset : str
        Name.
    kind : {"point-cloud", "raster", "measured-points", "orthophoto"}
        What it is.
    ids : tuple of str
        Checkpoints, shape (n,), without control and excluded points.
    east_m, north_m, up_m : ndarray, shape (n,)
        Measured minus surveyed; NaN where there is none.
    vegetated : ndarray of bool, shape (n,)
        Land cover group.
    survey_rmse_h_m, survey_rmse_v_m : ndarray, shape (n,)
        The survey's own RMSE, horizontal radial and vertical; NaN where unknown.
    survey_method : str or None
        Method named in the job, a ``survey_method.id`` of the standard: its accuracy stands in where
        unknown.
    adjusted_to_points : bool
        The dataset was adjusted to these very points.
    blocked_horizontal, blocked_vertical : tuple of str
        Reasons why no statement is possible, from the layers below (frame, datum, units).
    cover_assumed_count : int
        Points whose land cover was not stated and was taken as non-vegetated.
    place : tuple of int
        Number of the place where each point stands, shape (n,): the same for points with the same easting
        and northing. Empty: every point has a place of its own.
    heights : TakenHeights or None
        How heights of a point cloud were taken; None where it is not known.
    land_cover : tuple of str
        Land cover of each point by name, shape (n,); empty texts, or nothing, where only the group is known.
    """

    dataset: str
    kind: Literal["point-cloud", "raster", "measured-points", "orthophoto"]
    ids: tuple[str, ...]
    east_m: NDArray[np.float64]
    north_m: NDArray[np.float64]
    up_m: NDArray[np.float64]
    vegetated: NDArray[np.bool_]
    survey_rmse_h_m: NDArray[np.float64]
    survey_rmse_v_m: NDArray[np.float64]
    survey_method: str | None = None
    adjusted_to_points: bool = False
    blocked_horizontal: tuple[str, ...] = ()
    blocked_vertical: tuple[str, ...] = ()
    cover_assumed_count: int = 0
    place: tuple[int, ...] = ()
    heights: TakenHeights | None = None
    land_cover: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        import numpy as np

        for name in (*_ARRAYS, "vegetated"):
            kind = np.bool_ if name == "vegetated" else np.float64
            array: NDArray[np.float64] | NDArray[np.bool_] = np.array(
                getattr(self, name), dtype=kind
            )  # a copy of our own, then locked
            if array.shape != (len(self.ids),):
                raise ValueError(f"{name} has shape {array.shape} for {len(self.ids)} points")
            array.flags.writeable = False
            object.__setattr__(self, name, array)
        for name in ("place", "land_cover"):
            count = len(getattr(self, name))
            if count not in (0, len(self.ids)):
                raise ValueError(f"{name} has {count} entries for {len(self.ids)} points")

    def shared_places(self, group: Group) -> tuple[tuple[str, ...], ...]:
        """Give the ids of points of a group that share a place, one tuple for each such place."""
        if len(set(self.place)) == len(self.place):
            return ()
        at: dict[int, list[str]] = {}
        for id_, place, used in zip(self.ids, self.place, group.used, strict=bool(self.place)):
            if used:
                at.setdefault(place, []).append(id_)
        return tuple(tuple(ids) for ids in at.values() if len(ids) > 1)

    def places(self, group: Group) -> int:
        """Count the places of the points of a group: two points at one place are one test."""
        return group.n - sum(len(ids) - 1 for ids in self.shared_places(group))

    @property
    def land_covers(self) -> tuple[str, ...]:
        """Names of the land covers of the points, in the order of the alphabet."""
        return tuple(sorted({name for name in self.land_cover if name}))

    @property
    def figures(self) -> tuple[Figure, ...]:
        """Every figure of every component and land cover group."""
        return figures(
            self.east_m,
            self.north_m,
            self.up_m,
            self.vegetated,
            self.survey_rmse_h_m,
            self.survey_rmse_v_m,
        )

    def main_figures(self, statistics: Container[str]) -> list[dict[str, Any]]:
        """Give those of some statistics, without the survey's own error, in the form they have in a record."""
        return [
            asdict(figure)
            for figure in self.figures
            if figure.n and figure.statistic in statistics and not figure.survey_error_included
        ]

    def group(self, component: Component, cover: str) -> Group:
        """Give the points of a component and cover; of one land cover where `cover` names one."""
        import numpy as np

        axes = (self.east_m, self.north_m, self.up_m)
        group = next((known for known in COVERS if known == cover), None)
        if group is None:
            own = np.array([name == cover for name in self.land_cover], dtype=np.bool_)
            east_m, north_m, up_m = (np.where(own, axis, np.nan) for axis in axes)
            axes = (east_m, north_m, up_m)
        return select(
            component,
            group or "all",
            *axes,
            self.vegetated,
            self.survey_rmse_h_m,
            self.survey_rmse_v_m,
        )


@dataclass(frozen=True)
class Check:
    """One statistic against its limit (None: as found). `value` and `limit` are in `unit`."""

    name: str
    component: str
    cover: str
    estimator: str
    n: int
    value: float | None
    limit: float | None
    operator: Literal["<=", "<"] | None
    unit: str
    passes: bool | None
    survey_error_included: bool
    cite: str
    verification: str


@dataclass(frozen=True)
class PartJudgement:
    """What the standard makes of one part of a claim.

    Attributes
    ----------
    checks : mapping
        Id of the measure in the standard's file to its check, requirements first.
    n, minimum : int, int or None
        Points that count (those at one place once), and the fewest the document wants.
    notes : tuple of str
        What the statement must name, such as the formula of a circle.
    """

    part: Part
    verdict: Verdict
    reasons: tuple[str, ...]
    checks: Mapping[str, Check]
    n: int
    minimum: int | None
    statement_kind: StatementKind
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Judgement:
    """What the standard makes of one claim."""

    standard: str
    title: str
    claimed: Mapping[str, float | int | str | bool]
    dataset: str
    parts: tuple[PartJudgement, ...]
    verdict: Verdict
    findings: tuple[Finding, ...]
    assumptions: tuple[str, ...] = ()

    @property
    def checks(self) -> tuple[Check, ...]:
        """Every check of every part."""
        return tuple(check for part in self.parts for check in part.checks.values())

    @property
    def reasons(self) -> tuple[str, ...]:
        """Why there is no statement; empty otherwise."""
        several = len(self.parts) > 1
        return tuple(
            f"{part.part}: {reason}" if several else reason
            for part in self.parts
            for reason in part.reasons
        )

    @property
    def statement_kind(self) -> StatementKind:
        """The kind of statement that belongs to the verdict."""
        return next(part.statement_kind for part in self.parts if part.verdict == self.verdict)
