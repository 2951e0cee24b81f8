"""Faults of the survey, the raster, the camera and the time tags."""

from __future__ import annotations

import numpy as np

from accuracy.simulation.fault_record import Array, Fault, Where


def _none(size: float, where: Where) -> Array:
    return where.vector(0.0, 0.0, 0.0)


OTHER_FAULTS: tuple[Fault, ...] = (
    Fault(
        name="survey-session",
        family="survey",
        unit="m",
        example="-50mm",
        largest=3.0,
        what="In the second session of the survey (every third checkpoint) the pole height was wrong.",
        sign="positive: the surveyed heights of that session are too low, so residuals come out high",
        vector="(0, 0, +size) at the points of session 2, nothing elsewhere",
        seen="Two clusters of heights that follow the time of the survey, not the place.",
        alike="a tilt or a second base: those follow the place.",
        vector_m=lambda size, where: where.vector(
            0.0, 0.0, size * (np.asarray(where.session) == 2)
        ),
    ),
    Fault(
        name="survey-blunder",
        family="survey",
        unit="m",
        example="0.20m",
        largest=50.0,
        what="The height of a single checkpoint is wrong.",
        sign="positive: its surveyed height is too low, so its residual comes out high",
        vector="(0, 0, +size) at one point",
        seen="One outlier; everything else as it was.",
        alike="a place where the ground was disturbed.",
        vector_m=lambda size, where: where.vector(0.0, 0.0, size * np.asarray(where.blunder)),
    ),
    Fault(
        name="half-cell",
        family="raster",
        unit="cells",
        example="0.5",
        largest=5.0,
        what="The raster's corner was taken for the centre of its first cell, or the other way round.",
        sign="positive: the raster lies too far east and south",
        vector="raster only: (+size * cell, -size * cell, 0)",
        seen="The cloud is right; the raster is wrong on slopes only, high or low by aspect.",
        alike="a shift of everything: the cloud would show it, too.",
        vector_m=lambda size, where: where.vector(size * where.cell_m, -size * where.cell_m, 0.0),
        reaches=frozenset({"raster"}),
    ),
    Fault(
        name="colour-east",
        family="camera",
        unit="m",
        example="40mm",
        largest=1.0,
        what="The camera's picture lies off to the east of the laser points that it colours.",
        sign="positive: colours too far east",
        vector="colour only: (+size, 0, 0)",
        seen="Targets in colour are beside targets in intensity; heights are untouched.",
        alike="a shift of the cloud: intensity would show it, too.",
        vector_m=lambda size, where: where.vector(size, 0.0, 0.0),
        reaches=frozenset({"colour"}),
    ),
    Fault(
        name="colour-north",
        family="camera",
        unit="m",
        example="-40mm",
        largest=1.0,
        what="The camera's picture lies off to the north.",
        sign="positive: colours too far north",
        vector="colour only: (0, +size, 0)",
        seen="As colour-east.",
        alike="as colour-east.",
        vector_m=lambda size, where: where.vector(0.0, size, 0.0),
        reaches=frozenset({"colour"}),
    ),
    Fault(
        name="time-tags",
        family="time",
        unit="s",
        example="18s",
        largest=1_300_000.0,
        what="The points' time tags are off against the trajectory's (18 s: UTC for GPS; 86400 s: a day; "
        "604800 s: a week). The coordinates were made before that and are right.",
        sign="positive: tags later than the trajectory's times",
        vector="none",
        seen="No residual at all; points have no trajectory at their times, or another place of it.",
        alike="clock-offset moves the points.",
        vector_m=_none,
        reaches=frozenset(),
    ),
)
