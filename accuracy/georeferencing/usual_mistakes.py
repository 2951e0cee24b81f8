"""If it were otherwise, here: how far the usual mistakes would put the point of a walk.

Every vector is *mistaken minus right*, in metres, at the one place. Frames and grids go through the same layer
as a plan; feet, axes and zones are closed forms on the coordinates themselves. What cannot be computed says
why, and is never estimated.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from accuracy.georeferencing.carrying import Plan
from accuracy.georeferencing.grids import GridShelf
from accuracy.georeferencing.mistakes import Mistake, SidePoint
from accuracy.georeferencing.mistakes_of_frame import epochs, frames
from accuracy.georeferencing.mistakes_of_height import geoids, height_kinds
from accuracy.georeferencing.mistakes_of_plane import axes, feet, ground, zones
from accuracy.georeferencing.site_plan import SitePlan
from accuracy.georeferencing.walkthrough import Given, in_the_middle

__all__ = ["Mistake", "usual_mistakes"]


def usual_mistakes(
    plan: Plan, given: Given, shelf: GridShelf, dataset_name: str = "dataset"
) -> tuple[Mistake, ...]:
    """Give the size of each usual mistake at one point.

    Parameters
    ----------
    plan : Plan
        Of the dataset; refused ones tell what can still be told of each side.
    given : Given
        The point, in stored units of the checkpoints.
    shelf : GridShelf
        Only grids on it are read.
    """
    own = SidePoint("checkpoints", plan.source, given.easting, given.northing, given.height)
    local = []
    if isinstance(plan, SitePlan):
        # Frames, geoids and zones are those of the system that the local grid is tied to.
        local = [own] if plan.direction == "local-to-grid" else []
        given = in_the_middle(plan, given)
        plan = plan.inner
    sides = _sides(plan, given, dataset_name)
    epoch = (plan.source.epoch_year, plan.target.epoch_year, plan.epoch_year)
    epoch_year = next((value for value in epoch if value is not None), None)
    return (
        *feet([*local, *sides]),
        *geoids(sides, shelf),
        *height_kinds(sides, shelf),
        *frames(sides, epoch_year),
        *epochs(plan, sides, epoch_year),
        *axes(own),
        *zones(sides),
        *ground(sides, shelf),
    )


def _sides(plan: Plan, given: Given, dataset_name: str) -> list[SidePoint]:
    """Give the checkpoints' side, and the deliverable's where the point arrives there."""
    first = SidePoint("checkpoints", plan.source, given.easting, given.northing, given.height)
    columns = (np.array([value]) for value in (given.easting, given.northing, given.height))
    x, y, z = (float(values[0]) for values in plan.apply(*columns))
    certain = ("identity", "transformed")
    if plan.horizontal not in certain or not (math.isfinite(x) and math.isfinite(y)):
        return [first]
    if plan.vertical not in certain:
        z = math.nan
    if plan.horizontal == plan.vertical == "identity" and plan.moves is None:
        return [replace(first, who="both sides")]
    return [first, SidePoint(dataset_name, plan.target, x, y, z)]
