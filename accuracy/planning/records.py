"""A plan of checkpoints: frozen records."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from accuracy.budget import Prediction
from accuracy.findings import Finding
from accuracy.georeferencing.record import Reference
from accuracy.layout import CoverLayout
from accuracy.layout.records import CoverGroup
from accuracy.standards.library import Part


@dataclass(frozen=True)
class PlannedPoint:
    """One place to survey.

    Attributes
    ----------
    id : str
        N01, N02 for non-vegetated, V01 for vegetated ground.
    easting, northing : float
        In stored units of the deliverable.
    height : float or None
        Of the elevation raster, where there is one: to find the place, not a result.
    slope_deg : float or None
        Of the ground within a few metres.
    deviation_m : float or None
        Largest deviation of the ground there from its plane.
    """

    id: str
    cover: CoverGroup
    easting: float
    northing: float
    height: float | None = None
    slope_deg: float | None = None
    deviation_m: float | None = None


@dataclass(frozen=True)
class Chance:
    """Probability of passing with so many points, for each true RMSE in `PlanWant.true_rmse_m`."""

    points: int
    probability: tuple[float, ...]


@dataclass(frozen=True)
class Method:
    """A way to survey, and whether its RMSE reaches what is wanted."""

    name: str
    rmse_m: float
    enough: bool
    source: str


@dataclass(frozen=True)
class PlanWant:
    """What one limit of one claim wants.

    Attributes
    ----------
    number : int or None
        Checkpoints that the document wants on this area.
    limit_m, rmse_limit_m : float
        The limit, and the RMSE at which it is reached.
    survey_allowed_m : float or None
        Largest RMSE of the survey itself; None where the document names no ratio.
    survey_used_m : float
        RMSE of the survey that the probabilities reckon with.
    needed_rmse_m : float or None
        Largest true RMSE of the deliverable that passes with 95 % probability with the planned number.
    true_rmse_m : tuple of float
        Columns of `chances`.
    """

    dataset: str
    standard: str
    measure: str
    part: Part
    cover: CoverGroup
    number: int | None
    number_source: str
    limit_m: float
    rmse_limit_m: float
    survey_ratio: float | None
    survey_allowed_m: float | None
    survey_source: str
    survey_used_m: float
    methods: tuple[Method, ...]
    needed_rmse_m: float | None
    true_rmse_m: tuple[float, ...]
    chances: tuple[Chance, ...]


@dataclass(frozen=True)
class FieldPlan:
    """A plan of checkpoints for a job.

    Attributes
    ----------
    reference : Reference
        What the coordinates refer to: the system of `dataset`.
    spread : tuple of CoverLayout
        How the planned points lie, by the same rules as surveyed ones.
    edge_m : tuple of tuple of float
        Cells of the area, for drawing: west, south in metres.
    predictions : tuple of Prediction
        Right below the flight and at the largest scan angle; empty without [flight] and [sensor].
    estimates_m : mapping of str to float
        Published estimates of the horizontal RMSE, by their documents.
    """

    title: str
    site: str
    dataset: str
    reference: Reference
    area_from: str
    area_km2: float
    diagonal_m: float
    seed: int
    points: tuple[PlannedPoint, ...]
    spread: tuple[CoverLayout, ...]
    wants: tuple[PlanWant, ...]
    confirm: tuple[str, ...]
    predictions: tuple[Prediction, ...]
    estimates_m: Mapping[str, float]
    findings: tuple[Finding, ...]
