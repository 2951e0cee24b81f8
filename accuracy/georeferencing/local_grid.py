"""Local site grids: stated or fitted to pairs of points, and points carried through them.

What other layers use. How it is done stands in the modules beside this one: `local_grid_record` (the record
and its arithmetic, both ways), `local_grid_fit` (least squares), `local_grid_checks` (is it plausible, and
independent of what is tested).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from accuracy.findings import Finding, Severity
from accuracy.georeferencing.declaration import declared
from accuracy.georeferencing.local_grid_checks import fit_findings, scale_findings, shared_ids
from accuracy.georeferencing.local_grid_fit import (
    Fit,
    HorizontalFit,
    PairResidual,
    VerticalFit,
    fit_horizontal,
    fit_vertical,
)
from accuracy.georeferencing.local_grid_record import (
    Direction,
    Floats,
    LocalGrid,
    Parameters,
    Sides,
    stated,
    without_findings,
)
from accuracy.georeferencing.record import Reference
from accuracy.inputs.grid_pairs import GridPair
from accuracy.units import LengthUnit, from_metres, to_metres

__all__ = [
    "Carried",
    "Direction",
    "LocalGrid",
    "Parameters",
    "Sides",
    "carry",
    "fitted",
    "local_reference",
    "shared_ids",
    "stated",
]

#: Own choice: points farther from the middle of the pairs than so many times the farthest pair are told.
FAR_OUTSIDE = 1.5


def fitted(
    sides: Sides,
    pairs: Sequence[GridPair],
    *,
    vertical_model: Literal["shift", "plane"] | None = None,
    tolerance_m: float | None = None,
    source: str = "the job",
) -> LocalGrid:
    """Fit a local grid to pairs by least squares: four parameters, and a shift or plane for heights.

    Parameters
    ----------
    sides : Sides
        Names, reference and units.
    pairs : sequence of GridPair
        At least two.
    vertical_model : optional
        Default: a plane from four pairs with heights, a shift from one to three, nothing from none.
    tolerance_m : float, optional
        Residuals beyond it block.
    source : str
        Where the pairs stand.

    Raises
    ------
    InputError
        The pairs do not determine what is to be fitted, or contradict the declared units.
    ReferenceSystemError
        The grid side is not a plane, or heights are tied to a system without a vertical part.
    """
    sides, findings = without_findings(sides)
    grid_unit, ids = sides.grid_unit, [pair.id for pair in pairs]
    east, north = (np.array([getattr(p, key) for p in pairs], dtype=np.float64) for key in _GRID)
    local_east, local_north = (
        np.array([getattr(p, key) for p in pairs], dtype=np.float64) for key in _LOCAL
    )
    # A millimetre is round enough for the record, and near enough to the middle.
    origin = (round(float(east.mean()), 3), round(float(north.mean()), 3)) if pairs else (0.0, 0.0)
    first = (float(local_east[0]), float(local_north[0])) if pairs else (0.0, 0.0)
    places = _complex(east - origin[0], north - origin[1], grid_unit)
    there = _complex(local_east - first[0], local_north - first[1], sides.local_unit)
    horizontal = fit_horizontal(places, there, ids, source)
    at_origin = horizontal.local_middle - horizontal.factor * horizontal.middle
    tied = np.array([p.local_height is not None and p.height is not None for p in pairs])
    vertical = None
    if vertical_model is not None or tied.any():
        difference = np.array(
            [
                to_metres(p.local_height, sides.local_height_unit)
                - to_metres(p.height, sides.grid_height_unit)
                for p in pairs
                if p.local_height is not None and p.height is not None
            ]
        )
        vertical = fit_vertical(
            places.real[tied], places.imag[tied], difference, vertical_model, source
        )
    fit = _fit(ids, horizontal, vertical, tied, places)
    local = LocalGrid(
        sides,
        *origin,
        first[0] + from_metres(at_origin.real, sides.local_unit),
        first[1] + from_metres(at_origin.imag, sides.local_unit),
        abs(horizontal.factor),
        -math.degrees(math.atan2(horizontal.factor.imag, horizontal.factor.real)),
        None if vertical is None else vertical.shift_m,
        0.0 if vertical is None else vertical.tilt_north,
        0.0 if vertical is None else vertical.tilt_east,
        source=f"least squares fit to {len(pairs)} pairs from {source}: {', '.join(ids)}",
        fit=fit,
    )
    heights = [to_metres(p.height, sides.grid_height_unit) for p in pairs if p.height is not None]
    height_m = float(np.mean(heights)) if heights else None
    return replace(
        local,
        findings=(
            *findings,
            *fit_findings(sides.name, fit, tolerance_m, source),
            *scale_findings(
                sides.name, local.scale, sides.grid, *origin, height_m, fit.se_scale_ppm
            ),
        ),
    )


@dataclass(frozen=True, eq=False)
class Carried:
    """Points carried from one side of a local grid to the other.

    Attributes
    ----------
    easting, northing, height : ndarray, shape (n,)
        In the units of `reference`. Heights that are not tied change nothing but their unit.
    reference : Reference
        What they refer to now.
    steps : tuple of str
        What was done, for people.
    record : mapping
        The same as plain values for JSON, with the fit.
    horizontal_se_m, vertical_se_m : ndarray or None
        Standard error that the fit brings to each point, radial and vertical; None where unknown. It is
        common to neighbouring points, and shows as a bias.
    findings : tuple of Finding
        What came up in carrying; those of the local grid itself are not repeated.
    """

    easting: Floats
    northing: Floats
    height: Floats
    reference: Reference
    steps: tuple[str, ...]
    record: Mapping[str, Any]
    horizontal_se_m: Floats | None
    vertical_se_m: Floats | None
    findings: tuple[Finding, ...]

    @property
    def accuracy_m(self) -> float | None:
        """Largest standard error that the fit brings to a point; None where unknown."""
        horizontal, vertical = self.horizontal_se_m, self.vertical_se_m
        if horizontal is None or not horizontal.size:
            return None
        if vertical is None:
            return None if self.reference.vertical_known else float(horizontal.max())
        return max(float(horizontal.max()), float(vertical.max()))


def carry(
    local: LocalGrid, easting: Floats, northing: Floats, height: Floats, direction: Direction
) -> Carried:
    """Carry points to the other side of a local grid.

    Parameters
    ----------
    local : LocalGrid
        From `stated` or `fitted`.
    easting, northing, height : ndarray, shape (n,)
        In the units of the side that `direction` starts from.
    direction : {"grid-to-local", "local-to-grid"}
        From which side to which.
    """
    easting, northing, height = (
        np.asarray(values, dtype=np.float64) for values in (easting, northing, height)
    )
    if direction == "grid-to-local":
        target, start = local_reference(local), local.sides.grid
        there = local.to_local(easting, northing, height)
        grid_e, grid_n = easting, northing
    else:
        target, start = local.sides.grid, local_reference(local)
        there = local.to_grid(easting, northing, height)
        grid_e, grid_n = there[0], there[1]
    findings = []
    up = there[2]
    if up is None:
        unit = target.vertical_unit or start.vertical_unit
        up = height
        if start.vertical_unit is not None and unit is not None:
            up = from_metres(to_metres(height, start.vertical_unit), unit)
        target = replace(
            target,
            vertical_kind="unknown",
            vertical=None,
            vertical_wkt=None,
            vertical_unit=unit,
            geoid=None,
            wkt=target.horizontal_wkt if direction == "local-to-grid" else None,
        )
        findings.append(
            Finding(
                "local-grid-no-heights",
                Severity.BLOCKING,
                f"{local.sides.name} does not tie heights: those carried to {target.name} refer to nothing "
                "known",
                component="vertical",
                remedy="state vertical_shift_m (0.0 where heights are the same), or give pairs with heights",
            )
        )
    east, north = local.from_origin_m(grid_e, grid_n)
    fit = local.fit
    if fit is None and grid_e.size:
        findings += _scale_here(local, grid_e, grid_n, height, there[2], direction)
    if fit is not None and grid_e.size:
        findings += _far_outside(local.sides.name, fit, fit.distance_m(east, north))
    return Carried(
        there[0],
        there[1],
        up,
        replace(
            target, sources=(*target.sources, f"carried through {local.sides.name}, {direction}")
        ),
        local.steps(direction),
        local.as_record() | {"direction": direction, "parameters_direction": "grid-to-local"},
        fit.horizontal_se_m(east, north) if fit else None,
        fit.vertical_se_m(east, north) if fit else None,
        tuple(findings),
    )


def local_reference(local: LocalGrid) -> Reference:
    """Give what coordinates in the local grid refer to: an engineering system of its own datum."""
    sides = local.sides
    name = sides.name.replace('"', '""')

    def axis(title: str, direction: str, unit: LengthUnit) -> str:
        named = unit.value.replace("-", " ")
        return f'AXIS["{title}",{direction},LENGTHUNIT["{named}",{float(unit.metres)!r}]]'

    text = (
        f'ENGCRS["{name}",EDATUM["{name}"],CS[Cartesian,3],{axis("easting", "east", sides.local_unit)},'
        f"{axis('northing', 'north', sides.local_unit)},{axis('height', 'up', sides.local_height_unit)}]"
    )
    return declared(text, where="[local_grid]")


_GRID = ("easting", "northing")
_LOCAL = ("local_easting", "local_northing")


def _complex(east: Floats, north: Floats, unit: LengthUnit) -> NDArray[np.complex128]:
    return np.asarray(to_metres(east, unit) + 1j * to_metres(north, unit), dtype=np.complex128)


def _fit(
    ids: Sequence[str],
    horizontal: HorizontalFit,
    vertical: VerticalFit | None,
    tied: NDArray[np.bool_],
    places: NDArray[np.complex128],
) -> Fit:
    """Put the parts of the fit together."""
    ups: list[float | None] = [None] * len(ids)
    if vertical is not None:
        for index, value in zip(np.flatnonzero(tied), vertical.residuals_m, strict=True):
            ups[index] = float(value)
    sigma, scale, turn, at_origin = horizontal.sigma_m, None, None, None
    if sigma is not None:
        share = sigma / math.sqrt(horizontal.spread_m2)
        scale, turn = share * 1e6, math.degrees(share / abs(horizontal.factor))
        at_origin = sigma / math.sqrt(len(ids))  # at the middle, 1 mm from the origin
    covariance = None if vertical is None else vertical.covariance
    errors: list[float | None] = [None, None, None]
    if vertical is not None and covariance is not None:
        fitted_to = 3 if vertical.model == "plane" else 1
        errors[:fitted_to] = [float(v) for v in np.sqrt(np.diag(covariance))[:fitted_to]]
    return Fit(
        residuals=tuple(
            PairResidual(pid, float(v.real), float(v.imag), up)
            for pid, v, up in zip(ids, horizontal.residuals, ups, strict=True)
        ),
        vertical_model="none" if vertical is None else vertical.model,
        redundancy_h=horizontal.redundancy,
        redundancy_v=0 if vertical is None else vertical.redundancy,
        sigma_h_m=sigma,
        sigma_v_m=None if vertical is None else vertical.sigma_m,
        se_scale_ppm=scale,
        se_rotation_deg=turn,
        se_origin_m=at_origin,
        se_shift_m=errors[0],
        se_tilt_north_m_per_m=errors[1],
        se_tilt_east_m_per_m=errors[2],
        radius_m=float(np.max(np.abs(places - horizontal.middle))),
        middle_m=(horizontal.middle.real, horizontal.middle.imag),
        spread_m2=horizontal.spread_m2,
        vertical_covariance=None
        if covariance is None
        else tuple(tuple(float(v) for v in row) for row in covariance),
    )


def _scale_here(
    local: LocalGrid,
    easting: Floats,
    northing: Floats,
    height: Floats,
    carried: Floats | None,
    direction: Direction,
) -> tuple[Finding, ...]:
    """Hold a stated scale against the factor where the points are."""
    height_m = None
    if carried is not None:
        in_grid = height if direction == "grid-to-local" else carried
        height_m = to_metres(float(in_grid.mean()), local.sides.grid_height_unit)
    here = float(easting.mean()), float(northing.mean())
    return scale_findings(local.sides.name, local.scale, local.sides.grid, *here, height_m)


def _far_outside(name: str, fit: Fit, distance_m: Floats) -> tuple[Finding, ...]:
    out = distance_m > FAR_OUTSIDE * fit.radius_m
    if not out.any():
        return ()
    return (
        Finding(
            "local-grid-outside",
            Severity.WARNING,
            f"{name}: {int(out.sum())} points lie up to {distance_m.max():.0f} m from the middle of the pairs, "
            f"and no pair more than {fit.radius_m:.0f} m: errors of the pairs grow out there",
            evidence={"points": int(out.sum()), "farthest_m": float(distance_m.max())},
            remedy="tie the local grid to pairs around the whole site",
        ),
    )
