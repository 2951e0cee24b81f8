"""Which grid takes orthometric heights to ellipsoidal ones and back, and whether it holds at the places."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from accuracy.errors import ReferenceSystemError
from accuracy.findings import EvidenceValue, Finding, Severity
from accuracy.georeferencing.area import Named
from accuracy.georeferencing.carrying import Hop, Lift, Step
from accuracy.georeferencing.crs import datum_name
from accuracy.georeferencing.frames import FramePlan, hop_between, operation_step
from accuracy.georeferencing.geodetic import Points
from accuracy.georeferencing.grids import GridShelf, known_model, models_of, sha256
from accuracy.georeferencing.heights import undulations
from accuracy.georeferencing.operations import short_name
from accuracy.georeferencing.record import Reference


@dataclass(frozen=True)
class GeoidNeed:
    """What is to be lifted: both sides, the places in the frame of the source, the epoch if there is one."""

    source: Reference
    target: Reference
    given: Points
    places: Named
    epoch_year: float | None


@dataclass(frozen=True)
class LiftPlan:
    """How heights get through ellipsoidal ones; not `possible` where they do not."""

    possible: bool = False
    rise: Lift | None = None
    middle: Hop | None = None
    sink: Lift | None = None
    rise_steps: tuple[Step, ...] = ()
    sink_steps: tuple[Step, ...] = ()
    findings: tuple[Finding, ...] = ()


Tell = Callable[..., None]


def lift_plan(need: GeoidNeed, frames: FramePlan, shelf: GridShelf) -> LiftPlan:
    """Plan H + N on the side of the source, H = h - N on that of the target, where they are orthometric."""
    findings: list[Finding] = []

    def tell(
        code: str,
        message: str,
        remedy: str,
        severity: Severity = Severity.BLOCKING,
        **evidence: EvidenceValue,
    ) -> None:
        findings.append(Finding(code, severity, message, None, "vertical", evidence, remedy))

    source, target = need.source, need.target
    epochs = (frames.epoch_year, source.epoch_year, target.epoch_year)
    epoch_year = next((epoch for epoch in epochs if epoch is not None), None)
    rise = sink = middle = None
    rise_steps: list[Step] = []
    sink_steps: list[Step] = []
    points, frame = need.given, source.frame or ""
    blocked = False
    if source.vertical_kind == "orthometric":
        rise, at_grid, frame, rise_steps = _lift(
            source, frame, points, epoch_year, need.places, shelf, tell, up=True
        )
        if rise is None:
            blocked = True
        else:
            points = Points(at_grid.lon_deg, at_grid.lat_deg, points.h_m + rise.n_m(at_grid))
    if target.vertical_kind == "orthometric":
        sink, _, _, sink_steps = _lift(
            target, frame, points, epoch_year, need.places, shelf, tell, up=False
        )
        blocked = blocked or sink is None
    elif rise is not None and frame != source.frame:
        middle = hop_between(frame, target.frame or "", epoch_year)
        if middle is None:
            _no_way(tell, frame, target.frame or "", target)
            blocked = True
        else:
            sink_steps = [operation_step(o, middle.epoch_year) for o in middle.operations]
    if blocked:
        return LiftPlan(findings=tuple(findings))
    return LiftPlan(True, rise, middle, sink, tuple(rise_steps), tuple(sink_steps), tuple(findings))


def _lift(
    side: Reference,
    frame: str,
    points: Points,
    epoch_year: float | None,
    places: Named,
    shelf: GridShelf,
    tell: Tell,
    *,
    up: bool,
) -> tuple[Lift | None, Points, str, list[Step]]:
    """Find the grid of one side: (lift, points in the grid's frame, that frame, steps)."""
    none: tuple[Lift | None, Points, str, list[Step]] = (None, points, frame, [])
    datum = datum_name(side.vertical_wkt) or ""
    if side.geoid is None:
        serving = models_of(datum)
        tell(
            "transform-geoid-unnamed",
            f"heights of {side.name} must go through ellipsoidal heights, and the geoid model behind them is "
            "not named",
            f'state geoid = "{serving[0] if serving else "GEOID18"}"'
            + (f" ({' or '.join(serving)} serve {datum})" if serving else "")
            + " beside crs in the job",
        )
        return none
    model = known_model(side.geoid)
    if model is not None and datum not in model.datums:
        tell(
            "transform-geoid-unfit",
            f"the geoid model {side.geoid} does not belong to {datum} ({side.name}); it serves "
            f"{', '.join(model.datums)}",
            "correct geoid or the vertical part of crs in the job",
        )
        return none
    hop, its_frame = _to_grid_frame(frame, model.frames if model else (frame,), epoch_year)
    if model is None:
        tell(
            "transform-geoid-frame-assumed",
            f"the geoid model {side.geoid} is not among those known to this tool; taken as leading to "
            f"ellipsoidal heights in {frame}",
            "check in the model's own documentation to which frame it belongs",
            Severity.WARNING,
        )
    if hop is None:
        _no_way(tell, frame, model.frames[0] if model else frame, side)
        return none
    at_grid = hop(points)
    path = _grid_file(side, at_grid, places, shelf, tell)
    if path is None:
        return none
    steps = [operation_step(operation, hop.epoch_year) for operation in hop.operations]
    steps.append(
        Step(
            f"{side.geoid}: h = H + N, heights above {datum} to ellipsoidal heights"
            if up
            else f"{side.geoid}: H = h - N, ellipsoidal heights to heights above {datum}",
            operation=f"geoid model {side.geoid}",
            parameters=f"+proj=vgridshift +grids={path.name} +multiplier=1",
            grid=path.name,
            sha256=sha256(path),
            accuracy_m=None,
            units="metre",
        )
    )
    return Lift(path, hop), at_grid, its_frame, steps


def _to_grid_frame(
    frame: str, accepted: tuple[str, ...], epoch_year: float | None
) -> tuple[Hop | None, str]:
    """Give the shortest way to a frame that the grid belongs to."""
    if frame in accepted:
        return hop_between(frame, frame, None), frame
    hops = [(hop_between(frame, other, epoch_year), other) for other in accepted]
    possible = [(hop, other) for hop, other in hops if hop is not None]
    return min(possible, key=lambda item: len(item[0].operations), default=(None, frame))


def _no_way(tell: Tell, frame: str, other: str, side: Reference) -> None:
    named = short_name(frame) is not None and short_name(other) is not None
    tell(
        "transform-epoch-missing" if named else "transform-no-operation",
        f"the geoid model of {side.name} leads to ellipsoidal heights in {other}, and from {frame} "
        + (
            "the way there depends on time, but no epoch is stated"
            if named
            else "no named operation leads there"
        ),
        "state epoch = 2024.5 (decimal year) in [checkpoints]"
        if named
        else "hand in both with heights of one kind, or state the realisation of an ensemble",
    )


def _grid_file(
    side: Reference, at_grid: Points, places: Named, shelf: GridShelf, tell: Tell
) -> Path | None:
    """Find the one file of the model that holds at all judged places."""
    geoid = side.geoid or ""
    names, found = shelf.names(geoid), shelf.find(geoid)
    looked = (
        ", ".join(str(folder) for folder in shelf.folders) or "no folder: [grids] is not in the job"
    )
    if not found:
        usual = " or ".join(names) or "its file, named by geoid_files"
        tell(
            "transform-grid-missing",
            f"the grid of the geoid model {geoid} is needed for {side.name} and not there (looked for {usual} "
            f"in {looked}); nothing was put in its place",
            f'put {usual} into a folder and state [grids] folder = "grids"; another name goes into '
            f'geoid_files = {{"{geoid}" = "file.tif"}}',
            grid=names[0] if names else None,
        )
        return None
    judged = places.judged
    lon, lat = at_grid.lon_deg[judged], at_grid.lat_deg[judged]
    outside = no_data = np.zeros(judged.shape, dtype=np.bool_)
    for path in found:
        try:
            values = undulations(path, lon, lat)
        except ReferenceSystemError as error:
            tell("transform-grid-unreadable", f"{path.name}: {error.message}", error.remedy or "")
            return None
        if values.complete:
            return path
        outside, no_data = np.zeros_like(judged), np.zeros_like(judged)
        outside[judged], no_data[judged] = values.outside, values.no_data
        if no_data.any():
            break
    files = ", ".join(path.name for path in found)
    if no_data.any():
        tell(
            "transform-no-data",
            f"{places.names(no_data)} lie beside nodes without data in {files} ({geoid})",
            "exclude these points with a reason, or use a grid that has data there",
        )
    else:
        tell(
            "transform-outside-grid",
            f"{places.names(outside)} lie outside {files} ({geoid})",
            "use the file of the model that covers the site"
            + (f" ({' or '.join(names)})" if len(names) > 1 else "")
            + ", or exclude these points with a reason",
        )
    return None
