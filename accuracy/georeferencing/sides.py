"""Both sides of a transformation, brought to a form in which the rest of them can be compared."""

from __future__ import annotations

from dataclasses import replace

from accuracy.georeferencing.crs import datum_name
from accuracy.georeferencing.record import Reference
from accuracy.units import LengthUnit


def with_ellipsoidal_z(side: Reference) -> Reference:
    """Say of geocentric coordinates that their third axis holds the ellipsoidal height, too."""
    if side.horizontal_kind != "geocentric":
        return side
    return replace(
        side,
        vertical_kind="ellipsoidal",
        vertical=f"ellipsoidal height, {side.frame}",
        vertical_unit=LengthUnit.METRE,
    )


def on_one_plane(
    source: Reference, target: Reference, one_frame: bool
) -> tuple[Reference, Reference]:
    """Make both sides equal in what is dealt with elsewhere, so that `agree` compares the rest.

    That is the projection, the unit of heights above one zero, and the frame where it is carried.
    """
    plane = replace(
        source,
        horizontal=target.horizontal,
        horizontal_wkt=target.horizontal_wkt,
        horizontal_kind=target.horizontal_kind,
        horizontal_unit=target.horizontal_unit,
        frame=target.frame,
    )
    other = target
    if target.horizontal_kind == "geocentric":
        degrees = {"horizontal_kind": "geographic", "horizontal_unit": None}
        plane, other = replace(plane, **degrees), replace(other, **degrees)  # type: ignore[arg-type]  # named as the fields are
    if one_frame:
        plane = replace(
            plane,
            dynamic=target.dynamic,
            ensemble=target.ensemble,
            ensemble_accuracy_m=target.ensemble_accuracy_m,
        )
    else:
        still = {"dynamic": False, "ensemble": False, "epoch_year": None}
        plane, other = replace(plane, **still), replace(other, **still)  # type: ignore[arg-type]  # the same
    one_zero = plane.vertical_kind == other.vertical_kind and (
        plane.vertical_kind == "ellipsoidal"
        or datum_name(plane.vertical_wkt) == datum_name(other.vertical_wkt)
    )
    if one_zero and plane.vertical_unit is not None and other.vertical_unit is not None:
        plane = replace(
            plane,
            vertical=other.vertical,
            vertical_wkt=other.vertical_wkt,
            vertical_unit=other.vertical_unit,
        )
    return plane, other
