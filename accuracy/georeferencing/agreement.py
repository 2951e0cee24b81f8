"""Whether checkpoints and deliverable may be compared as they are. Nothing is transformed here."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from accuracy.findings import Component, Finding, Severity
from accuracy.georeferencing.crs import same_datum, same_horizontal, same_vertical
from accuracy.georeferencing.evidence import epochs_differ
from accuracy.georeferencing.geoids import same_geoid
from accuracy.georeferencing.record import Agreement, Reference, Verdict

_ORDER: tuple[Verdict, ...] = ("identity", "unknown", "differs")


def agree(checkpoints: Reference, dataset: Reference, dataset_name: str) -> Agreement:
    """Compare the two sides; nothing is transformed here.

    Heights are sampled where a point lies, so the vertical part is never better than the horizontal one.
    The verdicts do not depend on which side is which.

    Parameters
    ----------
    checkpoints, dataset : Reference
        Both sides, completed by what job and columns add.
    dataset_name : str
        For messages, and `Finding.dataset`.
    """
    pair = _Pair(checkpoints, dataset, dataset_name, [])
    for side in (checkpoints, dataset):
        pair.findings.extend(side.findings)
    horizontal = _compare_horizontal(pair)
    vertical = "differs" if horizontal == "differs" else _compare_vertical(pair)
    if horizontal == "identity":
        frame = _compare_frames(pair)
        horizontal, vertical = _worse(horizontal, frame), _worse(vertical, frame)
    return Agreement(horizontal, _worse(horizontal, vertical), tuple(pair.findings))


@dataclass(frozen=True)
class _Pair:
    """Both sides, and the findings collected so far."""

    surveyed: Reference
    measured: Reference
    name: str
    findings: list[Finding]

    @property
    def sides(self) -> tuple[tuple[str, Reference, str], tuple[str, Reference, str]]:
        """Each side with its name in messages and the place in the job where it is stated."""
        return (
            ("the checkpoints", self.surveyed, "[checkpoints]"),
            (self.name, self.measured, f'[[dataset]] "{self.name}"'),
        )

    def tell(
        self,
        code: str,
        severity: Severity,
        message: str,
        component: Component,
        remedy: str,
    ) -> None:
        """Add a finding that carries both sides."""
        self.findings.append(
            Finding(
                code,
                severity,
                message,
                dataset=self.name,
                component=component,
                evidence={"checkpoints": self.surveyed.name, "dataset": self.measured.name},
                remedy=remedy,
            )
        )

    def both(self, fact: str) -> str:
        """Say a fact of both sides: ``the checkpoints: ...; cloud: ...``."""
        return "; ".join(f"{who}: {_FACTS[fact](side)}" for who, side, _ in self.sides)

    def lacking(self, has: str) -> tuple[str, str]:
        """Name the sides that lack a fact, and the job sections where it goes."""
        missing = [(who, key) for who, side, key in self.sides if not getattr(side, has)]
        return " and ".join(who for who, _ in missing), " and ".join(key for _, key in missing)


def _horizontal_name(side: Reference) -> str:
    if side.horizontal_wkt is None:
        return "nothing declared"
    unit = "" if side.horizontal_unit is None else f", in {side.horizontal_unit.print_name}"
    code = "" if side.horizontal in (None, side.name) else f" [{side.horizontal}]"
    return f"{side.name}{code}{'' if side.frame else ', datum unknown'}{unit}"


def _vertical_name(side: Reference) -> str:
    if side.vertical_kind == "none":
        return f"no vertical system ({side.name} is horizontal only)"
    if side.vertical_kind == "unknown":
        return "nothing usable declared"
    unit = "" if side.vertical_unit is None else f", in {side.vertical_unit.print_name}"
    return f"{side.vertical} ({side.name}){unit}"


_FACTS: Mapping[str, Callable[[Reference], str]] = {
    "horizontal": _horizontal_name,
    "vertical": _vertical_name,
    "geoid": lambda side: side.geoid or "not named",
    "epoch": lambda side: "none" if side.epoch_year is None else f"{side.epoch_year:g}",
}


def _worse(one: Verdict, other: Verdict) -> Verdict:
    return max(one, other, key=_ORDER.index)


def _compare_horizontal(pair: _Pair) -> Verdict:
    one, other = pair.surveyed, pair.measured
    who, where = pair.lacking("horizontal_known")
    if who:
        pair.tell(
            "crs-unknown",
            Severity.BLOCKING,
            f"the horizontal system of {who} is not known ({pair.both('horizontal')})",
            "all",
            f'state crs in {where} of the job, for example crs = "EPSG:6345+5703"',
        )
        return "unknown"
    one_wkt, other_wkt = one.horizontal_wkt or "", other.horizontal_wkt or ""
    if not same_horizontal(one_wkt, other_wkt):
        why = ""
        if one.frame != other.frame and not same_datum(one_wkt, other_wkt):
            why = f"; the datums differ: {one.frame} and {other.frame}"
        elif one.horizontal_unit is not other.horizontal_unit:
            why = "; the units differ"
        if (one.ensemble or other.ensemble) and why:
            why += "; a datum ensemble is known to metres only and never taken for another frame"
        pair.tell(
            "crs-differs",
            Severity.BLOCKING,
            f"checkpoints and deliverable are in different horizontal systems ({pair.both('horizontal')})"
            + why,
            "all",
            "hand in both in one system; if a declaration is wrong, correct crs in [checkpoints] or "
            f'[[dataset]] "{pair.name}", or the file\'s own record',
        )
        return "differs"
    if one.horizontal_unit is not other.horizontal_unit:
        pair.tell(
            "crs-unit-differs",
            Severity.BLOCKING,
            f"horizontal coordinates are in different units ({pair.both('horizontal')})",
            "all",
            "correct the column names of the table, or crs, so that both sides are in one unit",
        )
        return "differs"
    if one.horizontal_kind == "geocentric":
        pair.tell(
            "crs-geographic",
            Severity.BLOCKING,
            f"coordinates are geocentric, and heights need a plane ({pair.both('horizontal')})",
            "all",
            "deliver projected coordinates with heights",
        )
        return "differs"
    if one.horizontal_kind == "geographic":
        pair.tell(
            "crs-geographic",
            Severity.BLOCKING,
            f"coordinates are in degrees; horizontal errors need a plane ({pair.both('horizontal')})",
            "horizontal",
            "deliver projected coordinates",
        )
    elif one.horizontal_unit is None:
        pair.tell(
            "crs-unit-unknown",
            Severity.BLOCKING,
            f"the unit of the coordinates is none this tool knows ({pair.both('horizontal')})",
            "all",
            "hand in coordinates in metres, international feet or US survey feet",
        )
        return "unknown"
    return "identity"


def _compare_frames(pair: _Pair) -> Verdict:
    """Compare epoch and realisation, once both sides are in one system."""
    one, other = pair.surveyed, pair.measured
    differ = epochs_differ(one, other)
    if one.ensemble or other.ensemble:
        known_m = max(side.ensemble_accuracy_m or 0.0 for side in (one, other))
        pair.tell(
            "crs-realisation-unknown",
            Severity.WARNING,
            f"both sides are in {one.frame} without a realisation, which is known to about {known_m:g} m; "
            "compared as one frame because both say the same",
            "all",
            "find out which realisation the coordinates of both sides are in, and state its code as crs in "
            f'[checkpoints] and [[dataset]] "{pair.name}"',
        )
    if one.dynamic or other.dynamic:
        missing = [(who, key) for who, side, key in pair.sides if side.epoch_year is None]
        if missing:
            pair.tell(
                "crs-epoch-missing",
                Severity.BLOCKING,
                f"{one.frame} moves with the plate, and {' and '.join(who for who, _ in missing)} carry no "
                f"epoch ({pair.both('epoch')})",
                "all",
                f"state epoch = 2024.5 (decimal year) in {' and '.join(key for _, key in missing)} of the "
                "job",
            )
            return "unknown"
        if differ:
            pair.tell(
                "crs-epoch-differs",
                Severity.BLOCKING,
                f"{one.frame} moves with the plate, and the epochs differ ({pair.both('epoch')})",
                "all",
                "bring both sides to one epoch; if an epoch is wrong, correct epoch in [checkpoints] or "
                f'[[dataset]] "{pair.name}"',
            )
            return "differs"
    elif differ:
        pair.tell(
            "crs-epoch-differs",
            Severity.WARNING,
            f"the epochs differ ({pair.both('epoch')}); {one.frame} is taken as fixed to the plate, and motion "
            "inside it was not applied",
            "all",
            "in a deforming region bring both sides to one epoch",
        )
    return "identity"


def _compare_vertical(pair: _Pair) -> Verdict:
    one, other = pair.surveyed, pair.measured
    who, where = pair.lacking("vertical_known")
    if who:
        pair.tell(
            "crs-vertical-unknown",
            Severity.BLOCKING,
            f"it is not known what the heights of {who} refer to ({pair.both('vertical')})",
            "vertical",
            f"state the vertical system too in crs of {where} of the job, for example "
            'crs = "EPSG:6345+5703", or a 3D code such as "EPSG:6319" for ellipsoidal heights',
        )
        return "unknown"
    remedy = (
        "hand in both with heights of one kind and unit; if a declaration is wrong, correct crs in "
        f'[checkpoints] or [[dataset]] "{pair.name}", or the file\'s own record'
    )
    kinds_differ = one.vertical_kind != other.vertical_kind
    ellipsoidal = one.vertical_kind == "ellipsoidal"
    units_differ = one.vertical_unit is not other.vertical_unit
    systems_differ = (
        not kinds_differ
        and not ellipsoidal
        and not same_vertical(one.vertical_wkt or "", other.vertical_wkt or "")
    )
    if kinds_differ or (systems_differ and not units_differ):
        told = "one side has ellipsoidal heights" if kinds_differ else "the vertical systems differ"
        pair.tell(
            "crs-vertical-differs",
            Severity.BLOCKING,
            f"heights refer to different things ({pair.both('vertical')}); {told}",
            "vertical",
            remedy,
        )
        return "differs"
    if units_differ:
        pair.tell(
            "crs-unit-differs",
            Severity.BLOCKING,
            f"heights are in different units or systems ({pair.both('vertical')})",
            "vertical",
            remedy,
        )
        return "differs"
    if one.vertical_unit is None:
        pair.tell(
            "crs-unit-unknown",
            Severity.BLOCKING,
            f"the unit of the heights is none this tool knows ({pair.both('vertical')})",
            "vertical",
            "hand in heights in metres, international feet or US survey feet",
        )
        return "unknown"
    return "identity" if ellipsoidal else _compare_geoids(pair)


def _compare_geoids(pair: _Pair) -> Verdict:
    one, other = pair.surveyed, pair.measured
    if one.geoid and other.geoid:
        if same_geoid(one.geoid, other.geoid):
            return "identity"
        pair.tell(
            "crs-geoid-differs",
            Severity.BLOCKING,
            f"different geoid models stand behind the same vertical system ({pair.both('geoid')})",
            "vertical",
            "derive both heights with one geoid model; if a name is wrong, correct geoid in [checkpoints] or "
            f'[[dataset]] "{pair.name}"',
        )
        return "differs"
    if one.horizontal_kind != "engineering":
        who, where = pair.lacking("geoid")
        pair.tell(
            "crs-geoid-unnamed",
            Severity.WARNING,
            f"the geoid model behind the heights of {who} is not named ({pair.both('geoid')}); the "
            "heights were compared as they are",
            "vertical",
            f'state geoid = "GEOID18" (or the model used) in {where} of the job',
        )
    return "identity"
