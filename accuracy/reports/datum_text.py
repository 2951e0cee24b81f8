"""Reference systems of a job, one point's way through them and the self-test, as plain text for people."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Mapping

from accuracy.georeferencing.carrying import Step
from accuracy.georeferencing.crs import datum_name
from accuracy.georeferencing.datum import Datum
from accuracy.georeferencing.frames import year
from accuracy.georeferencing.record import Reference
from accuracy.georeferencing.self_test import Check, SelfTest, Value
from accuracy.georeferencing.shown_coordinates import Axis, Coordinates
from accuracy.georeferencing.usual_mistakes import Mistake
from accuracy.georeferencing.walkthrough import Stage
from accuracy.reports.words import printable
from accuracy.units import LengthUnit

WIDTH = 96
_STATES = {
    "identity": "identity, compared as it is",
    "transformed": "transformed",
    "unknown": "unknown: numbers may be looked at, no statement",
    "differs": "refused, not compared",
}
_SYMBOLS = {unit.value: unit.symbol for unit in LengthUnit}


def render(datum: Datum) -> str:
    """Give one dataset's block of text."""
    plan, way = datum.plan, datum.walk
    lines = [*_wrap(datum.dataset, "", "  "), "-" * WIDTH]
    lines += _side("checkpoints", plan.source)
    lines += _side("dataset", plan.target)
    if len(datum.files) > 1:
        lines += _item("files", f"{len(datum.files)}; the facts of {datum.files[0]} are shown")
    lines += ["", *_wrap(f"The way of {way.point}, step by step", "", "  ")]
    lines += _item("horizontal", _STATES[plan.horizontal])
    lines += _item("vertical", _STATES[plan.vertical])
    lines += ["", "   0  as surveyed", *_coordinates(way.given)]
    last = way.given
    for number, stage in enumerate(way.stages, 1):
        lines += _stage(number, stage, last)
        last = stage.after[-1]
    if way.result is None:
        lines += ["", *_wrap("refused here: the findings below say why", "      ", "      ")]
    elif way.result == way.given:
        lines += ["", "      as compared with the deliverable: the same numbers"]
    else:
        lines += ["", "      as compared with the deliverable", *_coordinates(way.result)]
        if way.closure_m is not None:
            closing = f"the steps one by one and in one go agree within {way.closure_m:.5f} m"
            lines += _wrap(closing, "      ", "      ")
    lines += ["", *_item("accuracy", _plan_accuracy(datum))]
    for text in plan.not_applied:
        lines += _item("not applied", text)
    lines += _mistakes(datum)
    lines += _findings(datum)
    return "\n".join(lines) + "\n"


def render_versions(versions: Mapping[str, str], foreign: Mapping[str, str]) -> str:
    """Give the block that tells with what it was computed."""
    lines = ["Computed with", "-" * WIDTH]
    lines += _wrap(", ".join(f"{name} {text}" for name, text in versions.items()), "  ", "  ")
    for name, value in foreign.items():
        lines += _wrap(
            f"{name} is set to {value}: data of another program; not used here, and harmless",
            "  ",
            "    ",
        )
    return "\n".join(lines) + "\n"


def render_self_test(test: SelfTest) -> str:
    """Give every published value beside what comes out here."""
    lines = ["Published values, computed anew", "-" * WIDTH]
    lines.append(f"{' ' * 27}{'published':>19}{'computed':>19} {'differs':>9}{'may':>9}")
    for check in test.checks:
        lines += _check(check)
    good = sum(check.agrees for check in test.checks)
    lines += [
        "",
        f"{good} of {len(test.checks)} agree (PROJ {test.proj}, EPSG dataset {test.epsg})",
    ]
    if not test.agrees:
        lines += _wrap(
            "A numerical library or its database has changed, or is damaged: rely on no transformation until "
            "this is understood.",
            "",
            "",
        )
    return "\n".join(lines) + "\n"


def dms(degrees: float, decimals: int = 6) -> str:
    """Write an angle as degrees, minutes, seconds; the default shows a tenth of a millimetre and more."""
    units = round(abs(degrees) * 3600 * 10**decimals)
    whole, fraction = divmod(units, 10**decimals)
    minutes, seconds = divmod(whole, 60)
    sign = "-" if degrees < 0.0 and units else ""
    return f"{sign}{minutes // 60}° {minutes % 60:02d}' {seconds:02d}.{fraction:0{decimals}d}\""


def _wrap(text: str, first: str, rest: str) -> list[str]:
    return textwrap.wrap(
        printable(text),
        WIDTH,
        initial_indent=first,
        subsequent_indent=rest,
        break_on_hyphens=False,
    ) or [first.rstrip()]


def _item(label: str, text: str) -> list[str]:
    return _wrap(text, f"  {label:<15}", " " * 17)


def _side(who: str, side: Reference) -> list[str]:
    """Classify one side."""
    lines = _item(who, side.name)
    unit = side.horizontal_unit
    words = [side.horizontal or "not declared", side.horizontal_kind]
    if side.horizontal_kind == "geographic":
        words.append("degrees")
    else:
        words.append(unit.print_name if unit else "unit unknown")
    lines += _item("  horizontal", ", ".join(words))
    lines += _item("  frame", _frame(side))
    lines += _item("  vertical", _vertical(side))
    if side.axes:
        axes = f"declared {', '.join(side.axes)}; read as easting first" + (
            " (longitude first)" if side.horizontal_kind == "geographic" else ""
        )
        lines += _item("  axes", axes)
    if side.area_deg is not None:
        west, south, east, north = side.area_deg
        area = f"longitude {west:g} to {east:g}, latitude {south:g} to {north:g} degrees"
        lines += _item("  area of use", area)
    for source in side.sources or ("nowhere",):
        lines += _item("  read in", source)
    return lines


def _frame(side: Reference) -> str:
    if side.frame is None:
        return "not declared"
    text = side.frame
    if side.ensemble:
        text += f", an ensemble without realisation, known to {side.ensemble_accuracy_m or 0.0:g} m"
    elif side.dynamic:
        text += ", moves with time"
    return text + (
        "; no epoch stated" if side.epoch_year is None else f"; epoch {year(side.epoch_year)}"
    )


def _vertical(side: Reference) -> str:
    if side.vertical_kind == "none":
        return "none: the declaration is horizontal only"
    if side.vertical_kind == "unknown":
        return "unknown kind"
    unit = side.vertical_unit.print_name if side.vertical_unit else "unit unknown"
    if side.vertical_kind == "ellipsoidal":
        return f"{side.vertical}; {unit}"
    geoid = f"geoid model {side.geoid}" if side.geoid else "geoid model not named"
    return f"{side.vertical}, datum {datum_name(side.vertical_wkt)}, {geoid}; {unit}"


def _stage(number: int, stage: Stage, before: Coordinates) -> list[str]:
    part = "" if stage.part == "all" else f"[{stage.part}] "
    lines = ["", *_wrap(part + stage.step.what, f"  {number:>2}  ", "      ")]
    lines += [row for text in _facts(stage.step) for row in _wrap(text, "      ", "        ")]
    if stage.n_m is not None:
        lines.append(f"      N = {stage.n_m:+.4f} m")
    if stage.moved_m is not None:
        east_m, north_m, up_m = stage.moved_m
        lines.append(f"      moves east {east_m:+.4f}, north {north_m:+.4f}, up {up_m:+.4f} m")
    if stage.after == (before,):
        return [*lines, "        the same numbers"]
    for coordinates in stage.after:
        lines += _coordinates(coordinates)
    return lines


def _facts(step: Step) -> list[str]:
    """Give the record of a step, line by line."""
    facts = []
    if step.operation is not None:
        facts.append(step.operation + (f" [{step.code}]" if step.code else ""))
    if step.grid is not None:
        facts.append(f"grid {step.grid}, SHA-256 {step.sha256}")
    if step.parameters is not None:
        facts.append(step.parameters)
    if step.operation is not None or step.grid is not None:
        if step.accuracy_m is None:
            facts.append("stated accuracy: unknown")
        elif step.accuracy_m > 0.0:
            facts.append(f"stated accuracy: {step.accuracy_m:g} m")
        elif step.parameters is None:
            facts.append("stated accuracy: exact by definition")
    if step.epoch_year is not None:
        facts.append(f"epoch {year(step.epoch_year)}")
    return facts


def _coordinates(shown: Coordinates) -> list[str]:
    lines = _wrap(shown.system, "        ", "          ")
    return lines + [f"          {axis.name:<22}{_value(axis)}" for axis in shown.axes]


def _value(axis: Axis) -> str:
    if axis.value is None:
        return "none"
    if axis.unit == "degree":
        return f"{axis.value:>18.9f}°   {dms(axis.value)}"
    unit = _SYMBOLS.get(axis.unit or "", "unit unknown")
    return f"{axis.value + 0.0:>18.4f} {unit}"


def _plan_accuracy(datum: Datum) -> str:
    plan = datum.plan
    if plan.horizontal == plan.vertical == "identity":
        return "nothing is transformed, nothing is added"
    if plan.accuracy_m is None:
        if {plan.horizontal, plan.vertical} <= {"identity", "transformed"}:
            return "of the whole way unknown: that of a step is not stated"
        return "of the whole way unknown: not both parts are compared"
    return f"of the whole way {plan.accuracy_m:g} m, the sum of what is stated of its steps"


def _mistakes(datum: Datum) -> list[str]:
    """Give the table of usual mistakes."""
    lines = ["", *_wrap(f"If it were otherwise, here (at {datum.walk.point})", "", "  ")]
    lines += _wrap("mistaken minus right, in metres", "  ", "  ")
    lines.append(" " * 6 + f"{'east':>16} {'north':>16} {'up':>12}")
    for mistake in datum.mistakes:
        lines += _mistake(mistake)
    return lines


def _mistake(mistake: Mistake) -> list[str]:
    vector = (mistake.east_m, mistake.north_m, mistake.up_m)
    if mistake.scale_ppm is not None and mistake.mm_per_100_m is not None:
        figures = f"{mistake.scale_ppm:+.1f} ppm: {mistake.mm_per_100_m:+.1f} mm in 100 m"
    elif None in vector:
        return _wrap(f"{mistake.what}: {mistake.why_not}", "  - ", "      ")
    else:
        east, north, up = (_signed(value) for value in vector)
        figures = f"{east:>16} {north:>16} {up:>12}"
    lines = [*_wrap(mistake.what, "  - ", "      "), (" " * 6 + figures)]
    return lines + _wrap(mistake.how, "      ", "      ")


def _signed(value_m: float | None) -> str:
    assert value_m is not None
    return f"{round(value_m, 4) + 0.0:+.4f}"


def _findings(datum: Datum) -> list[str]:
    if not datum.findings:
        return []
    lines = ["", "Findings"]
    for finding in datum.findings:
        lines += _wrap(
            f"{finding.message} [{finding.code}]", f"  {finding.severity.value:<10}", " " * 12
        )
        if finding.remedy:
            lines += _wrap(finding.remedy, " " * 12 + "-> ", " " * 15)
    return lines


def _check(check: Check) -> list[str]:
    verdict = "agrees" if check.agrees else "DOES NOT AGREE"
    lines = _wrap(f"{verdict}: {check.what}", f"{check.id:<12}", " " * 12)
    if check.way:
        lines += _wrap("by " + ", then ".join(check.way), " " * 12, " " * 14)
    for value in check.values:
        lines += _published(value)
    lines += _wrap(f"source: {check.source} ({check.basis})", " " * 12, " " * 14)
    return lines


def _published(value: Value) -> list[str]:
    if value.computed is None or value.difference is None:
        return _wrap(f"{value.axis}: not computed: {value.problem}", " " * 12, " " * 14)
    digits = min(16, max(0, math.ceil(-math.log10(value.tolerance))) + 1)
    published, computed = (f"{number:.{digits}f}" for number in (value.published, value.computed))
    row = (
        f"{' ' * 12}{value.axis:<15}{published:>19}{computed:>19} {value.difference + 0.0:>+9.1e}"
        f"{value.tolerance:>9g} {value.unit}"
    )
    return [row] if value.agrees else [row, f"{' ' * 12}^ beyond the tolerance"]
