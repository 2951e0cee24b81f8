"""How checkpoints are carried to the frame of a deliverable: explicit, named steps, or a refusal that says why.

Both sides are classified first; the library is never asked to find its own way between two systems. What is
the same is left alone: one frame in two projections needs no grid and no epoch, heights above one vertical
datum only change their unit. Everything else goes by operations of `operations` and grids of `grids`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from accuracy.findings import Component, EvidenceValue, Finding, Severity
from accuracy.georeferencing.agreement import agree
from accuracy.georeferencing.area import area_findings
from accuracy.georeferencing.carrying import Moves, Plan, State, Step, carry
from accuracy.georeferencing.crs import same_datum, same_horizontal
from accuracy.georeferencing.frames import FramePlan, frame_plan
from accuracy.georeferencing.geodetic import (
    projection_name,
    to_points,
    why_unsupported,
)
from accuracy.georeferencing.geoid_steps import GeoidNeed, LiftPlan, lift_plan
from accuracy.georeferencing.grids import GridShelf
from accuracy.georeferencing.record import Agreement, Reference
from accuracy.georeferencing.sides import on_one_plane, with_ellipsoidal_z
from accuracy.units import LengthUnit, to_metres

Array = NDArray[np.float64]

__all__ = ["Places", "Plan", "Step", "plan"]

NO_GRIDS = GridShelf()


@dataclass(frozen=True)
class Places:
    """The surveyed points, in stored units of their table; arrays of shape (n,).

    `judged` marks those that count: a control point outside a grid blocks nothing.
    """

    ids: tuple[str, ...]
    easting: Array
    northing: Array
    height: Array
    judged: NDArray[np.bool_]

    def names(self, which: NDArray[np.bool_]) -> str:
        """Name the judged points among some, a few of them."""
        chosen = [name for name, take in zip(self.ids, which & self.judged, strict=True) if take]
        return ", ".join(chosen[:8]) + (f" and {len(chosen) - 8} more" if len(chosen) > 8 else "")


def plan(
    source: Reference,
    target: Reference,
    *,
    dataset_name: str,
    places: Places,
    grids: GridShelf = NO_GRIDS,
) -> Plan:
    """Find how coordinates get from one side to the other, or why they do not.

    Parameters
    ----------
    source : Reference
        Of the checkpoints.
    target : Reference
        Of the deliverable.
    dataset_name : str
        For messages, and `Finding.dataset`.
    places : Places
        The points: grids and areas of use are checked there, and sizes in messages hold there.
    grids : GridShelf
        Where grids are looked for.
    """
    source, target = with_ellipsoidal_z(source), with_ellipsoidal_z(target)
    direct = agree(source, target, dataset_name)
    if not (source.horizontal_known and target.horizontal_known):
        return _as_agreed(source, target, direct, dataset_name, places)
    same_plane = same_horizontal(source.horizontal_wkt or "", target.horizontal_wkt or "")
    if same_plane and direct.horizontal == direct.vertical == "identity":
        return _as_agreed(source, target, direct, dataset_name, places)
    if unsupported := [why for side in (source, target) if (why := why_unsupported(side))]:
        return _unsupported(source, target, direct, dataset_name, unsupported, places)
    return _Planner(source, target, dataset_name, places, grids, same_plane).run()


def _named(findings: Sequence[Finding], dataset_name: str) -> tuple[Finding, ...]:
    """Give each finding once, of this dataset; degrees as such are no obstacle here."""
    kept: list[Finding] = []
    for finding in findings:
        degrees = finding.code == "crs-geographic" and finding.component == "horizontal"
        named = replace(finding, dataset=dataset_name)
        if named not in kept and not degrees:
            kept.append(named)
    return tuple(kept)


def _as_agreed(
    source: Reference, target: Reference, agreement: Agreement, name: str, places: Places
) -> Plan:
    """Carry nothing: the sides are the same, or it is not known what they are."""
    findings = list(agreement.findings)
    states = (("horizontal", agreement.horizontal), ("vertical", agreement.vertical))
    steps = tuple(
        Step(f"{component}: identity, nothing is transformed")
        for component, state in states
        if state == "identity"
    )
    if agreement.horizontal == "identity" and not why_unsupported(source):
        points = to_points(source, places.easting, places.northing, places.height)
        findings += area_findings([target], points, places, blocking=False)
    return Plan(
        source,
        target,
        agreement.horizontal,
        agreement.vertical,
        steps,
        accuracy_m=0.0 if len(steps) == 2 else None,
        epoch_year=target.epoch_year,
        findings=_named(findings, name),
    )


def _unsupported(
    source: Reference,
    target: Reference,
    agreement: Agreement,
    name: str,
    reasons: list[str],
    places: Places,
) -> Plan:
    if agreement.horizontal != "differs":  # nothing to carry: the plane is the same
        return _as_agreed(source, target, agreement, name, places)
    finding = Finding(
        "transform-unsupported",
        Severity.BLOCKING,
        f"the checkpoints cannot be carried from {source.name} to {target.name}: "
        + "; ".join(dict.fromkeys(reasons)),
        remedy="hand in both in one reference system",
    )
    return Plan(
        source,
        target,
        "differs",
        "differs",
        epoch_year=target.epoch_year,
        findings=_named([*agreement.findings, finding], name),
    )


class _Planner:
    """One attempt: horizontal part, vertical part, what holds at the places."""

    def __init__(
        self,
        source: Reference,
        target: Reference,
        name: str,
        places: Places,
        grids: GridShelf,
        same_plane: bool,
    ) -> None:
        self.source, self.target, self.name = source, target, name
        self.places, self.grids, self.same_plane = places, grids, same_plane
        self.one_frame = (
            same_plane
            or source.frame == target.frame
            or same_datum(source.horizontal_wkt or "", target.horizontal_wkt or "")
        )
        self.findings: list[Finding] = []
        self.given = to_points(
            source,
            places.easting,
            places.northing,
            to_metres(
                places.height,
                (source.vertical_unit or LengthUnit.METRE),
            ),
        )

    def tell(
        self,
        code: str,
        message: str,
        remedy: str,
        component: Component = "all",
        severity: Severity = Severity.BLOCKING,
        **evidence: EvidenceValue,
    ) -> None:
        self.findings.append(Finding(code, severity, message, None, component, evidence, remedy))

    def run(self) -> Plan:
        level = agree(*on_one_plane(self.source, self.target, self.one_frame), self.name)
        self.findings += [f for f in level.findings if f.component != "vertical"]
        vertical_told = [f for f in level.findings if f.component == "vertical"]
        if level.horizontal != "identity":  # epochs missing or different in one moving frame
            return self._plan(level.horizontal, level.horizontal, None, ())
        frames = frame_plan(self.source, self.target, self.one_frame, self.given, self.places)
        self.findings += frames.findings
        if frames.hop is None:
            return self._plan("differs", "differs", None, ())
        lifts = LiftPlan()
        state: State
        if level.vertical == "differs":
            lifts = self._lifts(frames)
            self.findings += lifts.findings
            state = "transformed" if lifts.possible else "differs"
            vertical_told = [f for f in vertical_told if f.severity is not Severity.BLOCKING]
            heights = "carry" if lifts.possible else "none"
        else:
            state, heights = self._passed(level.vertical, frames)
        self.findings += vertical_told
        moves = Moves(
            frames.hop,
            heights,  # type: ignore[arg-type]  # one of three words
            lifts.rise,
            lifts.middle,
            lifts.sink,
            self.same_plane,
        )
        if self.target.horizontal_kind == "geocentric" and state not in ("identity", "transformed"):
            return self._plan("differs", "differs", None, ())
        steps = [
            *self._unproject(),
            *lifts.rise_steps,
            *frames.steps,
            *lifts.sink_steps,
            *self._project(),
            *self._height_units(state, heights),
        ]
        return self._checked(moves, state, tuple(dict.fromkeys(steps)), frames)

    def _passed(self, vertical: str, frames: FramePlan) -> tuple[State, str]:
        """Heights above one zero, or of unknown kind: units only, unless ellipsoidal in two frames."""
        if vertical == "unknown":
            return "unknown", "pass"
        ellipsoidal = self.target.vertical_kind == "ellipsoidal"
        if ellipsoidal and frames.hop is not None and frames.hop.operations:
            return "transformed", "carry"
        changed = self.source.vertical_unit is not self.target.vertical_unit
        return ("transformed" if changed else "identity"), "pass"

    def _lifts(self, frames: FramePlan) -> LiftPlan:
        need = GeoidNeed(self.source, self.target, self.given, self.places, frames.epoch_year)
        return lift_plan(need, frames, self.grids)

    def _unproject(self) -> list[Step]:
        side = self.source
        if self.same_plane or side.horizontal_kind == "geographic":
            return []
        if side.horizontal_kind == "geocentric":
            return [
                Step(
                    f"X, Y, Z of {side.name} to longitude, latitude, height",
                    units="degrees, metres",
                )
            ]
        return [
            Step(
                f"{side.name}, {_unit_words(side)}, to longitude and latitude by the inverse of its projection",
                operation=projection_name(side),
                code=side.horizontal,
                units="degrees",
            )
        ]

    def _project(self) -> list[Step]:
        side = self.target
        if self.same_plane or side.horizontal_kind == "geographic":
            return []
        if side.horizontal_kind == "geocentric":
            return [Step(f"longitude, latitude, height to X, Y, Z of {side.name}", units="metre")]
        return [
            Step(
                f"longitude and latitude to {side.name}, {_unit_words(side)}, by its projection",
                operation=projection_name(side),
                code=side.horizontal,
                units=side.horizontal_unit.value if side.horizontal_unit else None,
            )
        ]

    def _height_units(self, state: State, heights: str) -> list[Step]:
        one, other = self.source.vertical_unit, self.target.vertical_unit
        steps = []
        if heights == "pass" and state in ("identity", "transformed"):
            what = (
                f"heights keep their zero ({self.target.vertical}): one vertical system on both sides, no grid"
                if self.target.vertical_kind == "orthometric"
                else "ellipsoidal heights of one frame are kept"
            )
            steps.append(Step(what, units=other.value if other else None))
        if state == "transformed" and one is not other and one is not None and other is not None:
            steps.append(
                Step(f"heights from {one.print_name} to {other.print_name}", units=other.value)
            )
        return steps

    def _checked(
        self, moves: Moves, vertical: State, steps: tuple[Step, ...], frames: FramePlan
    ) -> Plan:
        """Carry the places once, and refuse what did not arrive."""
        judged = self.places.judged
        area = area_findings([self.source, self.target], self.given, self.places, blocking=True)
        self.findings += area
        horizontal: State = "identity" if self.same_plane else "transformed"
        if any(finding.severity is Severity.BLOCKING for finding in area):
            return self._plan("differs", "differs", None, ())
        east, north, height = carry(
            self.source,
            self.target,
            moves,
            self.places.easting,
            self.places.northing,
            self.places.height,
        )
        lost = judged & ~(np.isfinite(east) & np.isfinite(north))
        if lost.any():
            self.tell(
                "transform-not-finite",
                f"the coordinates of {self.places.names(lost)} do not lie where {self.source.name} and "
                f"{self.target.name} can hold them",
                "correct the coordinates or crs in [checkpoints]; look for exchanged axes and a wrong zone",
            )
            return self._plan("differs", "differs", None, ())
        if moves.heights == "carry" and (judged & ~np.isfinite(height)).any():
            self.tell(
                "transform-not-finite",
                f"the heights of {self.places.names(judged & ~np.isfinite(height))} come out without a finite "
                "number",
                "exclude these points with a reason, or hand in heights of one kind",
                "vertical",
            )
            vertical, moves = "differs", replace(moves, heights="none")
        return self._plan(horizontal, vertical, moves, steps, frames)

    def _plan(
        self,
        horizontal: State,
        vertical: State,
        moves: Moves | None,
        steps: tuple[Step, ...],
        frames: FramePlan | None = None,
    ) -> Plan:
        unknown = [step for step in steps if step.accuracy_m is None]
        for step in unknown:
            self.tell(
                "transform-accuracy-unknown",
                f"the checkpoints were carried by {step.code or step.grid} ({step.operation or step.what}), "
                "whose accuracy in metres is not stated",
                "weigh the claim against what is known of this step",
                "vertical" if step.grid else "all",
                Severity.WARNING,
            )
        stated = [step.accuracy_m for step in steps if step.accuracy_m is not None]
        refused = {"differs", "unknown"} & {horizontal, vertical}
        epoch_year = self.target.epoch_year
        if epoch_year is None and frames is not None:
            epoch_year = frames.epoch_year
        return Plan(
            self.source,
            self.target,
            horizontal,
            vertical,
            steps,
            accuracy_m=None if unknown or refused else sum(stated),
            epoch_year=epoch_year,
            not_applied=frames.not_applied if frames is not None else (),
            findings=_named(self.findings, self.name),
            moves=moves,
        )


def _unit_words(side: Reference) -> str:
    return f"in {side.horizontal_unit.print_name}" if side.horizontal_unit else "in degrees"
