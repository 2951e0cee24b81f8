"""Whether a local grid is plausible and independent of what is tested: facts as findings."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal, Protocol

from accuracy.findings import Component, Finding, Severity
from accuracy.georeferencing.local_grid_fit import Fit
from accuracy.georeferencing.record import Reference
from accuracy.inputs.grid_pairs import GridPair
from accuracy.units import LengthUnit, to_metres

#: Mean radius of the Earth for the elevation factor; common practice, its error is below 1 ppm at 2 km.
EARTH_RADIUS_M = 6_371_000.0
#: Own choices: a scale beyond the first is asked about; within the second of a factor it is explained by it.
NOTICED_PPM = 20.0
FITS_PPM = 10.0
#: Own choice: a fit that leaves more than this is worth a warning where the job states no tolerance.
LARGE_RESIDUAL_M = 0.10
#: A checkpoint within this of a pair is the same mark, whatever its id.
SAME_MARK_M = 0.02

Side = Literal["local", "grid"]


class Placed(Protocol):
    """A point with an id and coordinates, such as a checkpoint."""

    @property
    def id(self) -> str:
        """As written."""

    @property
    def easting(self) -> float:
        """Stored unit."""

    @property
    def northing(self) -> float:
        """Stored unit."""


@dataclass(frozen=True)
class GroundFactor:
    """Grid distance divided by ground distance at a place.

    `point_scale` belongs to the projection, `elevation_factor` to the height; `combined` is their product.
    """

    point_scale: float
    elevation_factor: float

    @property
    def combined(self) -> float:
        """Both together."""
        return self.point_scale * self.elevation_factor


def ground_factor(
    grid: Reference, easting: float, northing: float, height_m: float
) -> GroundFactor | None:
    """Compute the combined factor at a place.

    Parameters
    ----------
    grid : Reference
        Of the projected grid.
    easting, northing : float
        In its unit.
    height_m : float
        Height above the ellipsoid, metres. With an orthometric height the factor is off by 0.157 ppm for
        each metre of geoid undulation.

    Returns
    -------
    GroundFactor or None
        None where the system is not projected, its axes do not point east and north, or its scale depends
        on the direction.
    """
    if grid.horizontal_kind != "projected" or grid.horizontal_wkt is None:
        return None
    if not set(grid.axes) <= {"east", "north"}:
        return None
    from pyproj import CRS, Proj
    from pyproj.exceptions import ProjError

    crs = CRS(grid.horizontal_wkt)
    method = crs.coordinate_operation.method_name if crs.coordinate_operation else ""
    if "Pseudo Mercator" in method:  # PROJ gives factors on a sphere for it
        return None
    try:
        proj = Proj(crs)
        factors = proj.get_factors(
            *proj(easting, northing, inverse=True, errcheck=True), errcheck=True
        )
    except ProjError:
        return None
    if factors.tissot_semimajor - factors.tissot_semiminor > 1e-6:
        return None
    return GroundFactor(factors.meridional_scale, EARTH_RADIUS_M / (EARTH_RADIUS_M + height_m))


def scale_findings(
    name: str,
    scale: float,
    grid: Reference,
    easting: float,
    northing: float,
    height_m: float | None,
    scale_se_ppm: float | None = None,
) -> tuple[Finding, ...]:
    """Ask whether the scale of a local grid is that from grid to ground at the site.

    Parameters
    ----------
    name : str
        Of the local grid.
    scale : float
        Local metres for each grid metre.
    grid, easting, northing, height_m
        As in `ground_factor`; None where the height is not known.
    scale_se_ppm : float, optional
        Standard error of a fitted scale.
    """
    ppm = (scale - 1.0) * 1e6
    if abs(ppm) <= NOTICED_PPM:
        return ()
    told = f"{name}: a kilometre of {grid.name} is {scale * 1000.0:.3f} m there ({ppm:+.1f} ppm)"
    factor = None if height_m is None else ground_factor(grid, easting, northing, height_m)
    if factor is None or height_m is None:
        why = (
            "the height of the site is not known"
            if height_m is None
            else "no factor can be computed"
        )
        return (
            Finding(
                "local-grid-scale",
                Severity.WARNING,
                f"{told}; this looks like grid to ground, but could not be held against it: {why}",
                evidence={"scale_ppm": ppm},
                remedy="check the scale against the combined factor of the site",
            ),
        )
    expected = (1.0 / factor.combined - 1.0) * 1e6
    opposite = (factor.combined - 1.0) * 1e6
    computed = (
        f"from grid to ground it would be {expected:+.1f} ppm (point scale {factor.point_scale:.8f}, "
        f"elevation factor {factor.elevation_factor:.8f} at {height_m:.0f} m)"
    )
    evidence = {
        "scale_ppm": ppm,
        "scale_se_ppm": scale_se_ppm,
        "grid_to_ground_ppm": expected,
        "point_scale": factor.point_scale,
        "elevation_factor": factor.elevation_factor,
        "height_m": height_m,
    }
    severity, remedy = Severity.WARNING, "find out what the scale stands for before relying on it"
    if abs(ppm - expected) <= FITS_PPM:
        severity, remedy = Severity.NOTE, ""
        verdict = "it fits"
    elif scale_se_ppm is not None and abs(ppm - expected) <= 2.0 * scale_se_ppm:
        severity, remedy = Severity.NOTE, ""
        verdict = (
            f"it may fit; the difference of {ppm - expected:+.1f} ppm is within two standard errors "
            f"({scale_se_ppm:.1f} ppm)"
        )
    elif abs(ppm - opposite) <= FITS_PPM:
        verdict = "it is the factor the wrong way round"
        remedy = (
            "check the direction stated, and whether the number is the factor or its reciprocal"
        )
    else:
        verdict = f"it does not fit, by {ppm - expected:+.1f} ppm"
    return (
        Finding(
            "local-grid-scale",
            severity,
            f"{told}; {computed}: {verdict}",
            None,
            "all",
            evidence,
            remedy,
        ),
    )


def fit_findings(name: str, fit: Fit, tolerance_m: float | None, source: str) -> Iterable[Finding]:
    """Say how well the fit is checked and what it leaves."""
    worst, high = fit.worst_horizontal, fit.worst_vertical
    heights = (
        "no heights"
        if high is None or high.up_m is None
        else f"heights by a {fit.vertical_model}, {high.up_m:+.4f} m at {high.id}"
    )
    left = max(worst.horizontal_m, abs(high.up_m or 0.0) if high else 0.0)
    large = tolerance_m is None and left > LARGE_RESIDUAL_M
    yield Finding(
        "local-grid-fitted",
        Severity.WARNING if large else Severity.NOTE,
        f"{name}: fitted to {len(fit.residuals)} pairs from {source}; largest residuals "
        f"{worst.horizontal_m:.4f} m horizontally at {worst.id}, {heights}",
        evidence={
            "pairs": len(fit.residuals),
            "largest_horizontal_m": worst.horizontal_m,
            "largest_vertical_m": None if high is None else high.up_m,
        },
        remedy="check these pairs, and state tolerance_m" if large else "",
    )
    unchecked: list[tuple[Component, str]] = []
    if fit.redundancy_h == 0:
        unchecked.append(("all", "two pairs determine scale, direction and position"))
    if fit.redundancy_v == 0 and fit.vertical_model != "none":
        wants = "one height determines the shift"
        if fit.vertical_model == "plane":
            wants = "three heights determine the plane"
        unchecked.append(("vertical", wants))
    for component, wants in unchecked:
        yield Finding(
            "local-grid-redundancy",
            Severity.WARNING,
            f"{name}: {wants} exactly, so that a mistake in one of them shows in no residual",
            component=component,
            remedy="add pairs; four or more, spread over the site, check one another",
        )
    if tolerance_m is None:
        return
    beyond: list[tuple[Component, str, list[tuple[str, float]]]] = [
        ("all", "horizontal", [(pair.id, pair.horizontal_m) for pair in fit.residuals]),
        (
            "vertical",
            "vertical",
            [(pair.id, pair.up_m) for pair in fit.residuals if pair.up_m is not None],
        ),
    ]
    for component, word, residuals in beyond:
        out = [(pid, value) for pid, value in residuals if abs(value) > tolerance_m]
        if out:
            yield Finding(
                "local-grid-tolerance",
                Severity.BLOCKING,
                f"{name}: {word} residuals of the fit beyond the stated {tolerance_m:g} m: "
                + ", ".join(f"{pid} {value:.4f} m" for pid, value in out[:10]),
                component=component,
                evidence={"pairs": len(out), "tolerance_m": tolerance_m},
                remedy="find the wrong pair and correct it, or take other pairs",
            )


def shared_ids(
    pairs: Sequence[GridPair],
    checkpoints: Sequence[Placed],
    *,
    side: Side | None = None,
    unit: LengthUnit | None = None,
) -> tuple[Finding, ...]:
    """Find checkpoints to be judged that the local grid was fitted to.

    Such points are control: the fit has moved the surveyed side onto them.

    Parameters
    ----------
    pairs : sequence of GridPair
        What the local grid was fitted to.
    checkpoints : sequence
        The points that are to be judged (no control points, none that are excluded), as handed in.
    side, unit : optional
        Which of the two grids the checkpoints' coordinates are in, and its unit: then points at the place of
        a pair are found under other ids, too. None: ids only.
    """
    named = {pair.id for pair in pairs}
    shared = {point.id: "" for point in checkpoints if point.id in named}
    if side is not None and unit is not None and pairs and checkpoints:
        from scipy.spatial import cKDTree

        places = [
            (pair.local_easting, pair.local_northing)
            if side == "local"
            else (pair.easting, pair.northing)
            for pair in pairs
        ]
        first_e, first_n = places[0]
        tree = cKDTree(
            [(to_metres(e - first_e, unit), to_metres(n - first_n, unit)) for e, n in places]
        )
        for point in checkpoints:
            here = (
                to_metres(point.easting - first_e, unit),
                to_metres(point.northing - first_n, unit),
            )
            distance, index = tree.query(here)
            if distance <= SAME_MARK_M and point.id not in shared:
                shared[point.id] = f" (stands at pair {pairs[int(index)].id})"
    if not shared:
        return ()
    listed = ", ".join(pid + more for pid, more in list(shared.items())[:10])
    return (
        Finding(
            "local-grid-shared-points",
            Severity.BLOCKING,
            f"{len(shared)} checkpoint(s) tie the local grid, and cannot test what it carries: {listed}"
            + (" ..." if len(shared) > 10 else ""),
            evidence={"points": len(shared)},
            remedy="name them under control in [checkpoints], or tie the local grid to other points",
        ),
    )
