"""What was found about the base, as plain text for people; a view of the record in ``result.json``."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping
from typing import Any

from accuracy.reports.words import printable

WIDTH = 96
LABEL = 17
Data = Mapping[str, Any]


def render_base(base: Data) -> str:
    """Give the block of text about the base."""
    rows = [f"Base {printable(str(base['mark']))}", "-" * WIDTH]
    rows += facts(base)
    rows += ["", "  What was found, and by how much it moves the deliverable, in metres"]
    rows += _table(base["checks"])
    rows += _item("together", together(base))
    if base["checks"]:
        rows += ["", "  Findings"]
    for check in base["checks"]:
        rows += _wrap(f"{check['severity']}: {check['what']} [{check['code']}]", "  ", "    ")
        if len(check["consistent_with"]) > 1:
            for candidate in check["consistent_with"]:
                rows += _wrap(
                    f"{candidate['cause']}: {_vector(candidate['effect'])}", "    ", "       "
                )
        if check["remedy"]:
            rows += _wrap(f"-> {check['remedy']}", "    ", "       ")
    return "\n".join(rows) + "\n"


def facts(base: Data) -> list[str]:
    """Give the facts without the findings."""
    rows: list[str] = []
    for name in ("published", "held"):
        side = base[name]
        rows += _item(name, "not stated" if side is None else _side(side))
    difference = base["held_minus_published"]
    rows += _item("held - published", "unknown" if difference is None else _vector(difference))
    antenna = base["antenna"]
    if antenna is None:
        rows += _item("antenna", "not named")
    else:
        radome = f"radome {antenna['radome']}" if antenna["radome"] else "no radome stated"
        serial = f", serial number {antenna['serial']}" if antenna["serial"] else ""
        rows += _item("antenna", f"{antenna['type']}, {radome}{serial}")
    for number, text in enumerate(base["height_chain"]):
        rows += _item("" if number else "height", text)
    rows += _files(base)
    if base["distance"] is not None:
        rows += _item("to the site", _distance(base["distance"]))
    same = {True: "yes: the test is relative to it", False: "no", None: "not stated"}
    rows += _item("survey from it", same[base["survey_from_same_base"]])
    return rows


def together(base: Data) -> str:
    """Say what all of it does to the deliverable."""
    shift = base["expected_shift"]
    if shift["effect"] is None:
        return f"shift of the deliverable {shift['why_not']}"
    causes = f" ({', '.join(shift['causes'])})" if shift["causes"] else ""
    numbers = [value for value in shift["effect"].values() if value is not None]
    if len(numbers) == 3 and not any(abs(value) >= 0.00005 for value in numbers):
        return f"no shift of the deliverable is expected{causes}"
    return f"the deliverable is expected to be off by {_vector(shift['effect'])}{causes}"


def _files(base: Data) -> list[str]:
    rows = []
    seen = base["observation"]
    if seen is not None:
        version = f"RINEX {seen['rinex_version']}{', Hatanaka' if seen['hatanaka'] else ''}"
        span = "it does not say when it ends"
        if seen["start"] is not None:
            span = f"{_clock(seen['start'])} to {_clock(seen['end'])} GPS time"
            if seen["interval_s"] is not None:
                span += f", every {seen['interval_s']:g} s"
        rows += _item("record", f"{seen['file']} ({version}); {span}")
    flight = base["flight"]
    if flight is not None:
        told = (
            f"{_clock(flight['start'])} to {_clock(flight['end'])} GPS time, by {flight['source']}"
        )
        rows += _item("flight", told)
    return rows


def _clock(text: str) -> str:
    return text.replace("T", " ")[:19]


def _side(side: Data) -> str:
    axes = [f"{axis['name']} {_coordinate(axis)}" for axis in side["coordinates"]["axes"]]
    text = f"{', '.join(axes)}; {side['reference']['name']}"
    epoch = side["reference"]["epoch_year"]
    text += f", epoch {epoch:g}" if epoch is not None else ""
    text += f"; {side['source']}" if side["source"] else ""
    text += f"; {side['origin']}" if side["origin"] else ""
    if side["accuracy_h_m"] is not None and side["accuracy_v_m"] is not None:
        text += f"; stated to {side['accuracy_h_m']:g} m, in height {side['accuracy_v_m']:g} m"
    return text


def _coordinate(axis: Data) -> str:
    if axis["value"] is None:
        return "unknown"
    return f"{axis['value']:.9f}°" if axis["unit"] == "degree" else f"{axis['value']:.4f}"


def _distance(distance: Data) -> str:
    text = f"{distance['horizontal_m'] / 1000.0:.3f} km"
    if distance["height_difference_m"] is not None:
        text += f", the site {distance['height_difference_m']:+.1f} m in height"
    sigma = distance["expected_sigma"]
    return (
        f"{text}; to expect: 1 sigma {sigma['east_m']:.3f} m east and north, {sigma['up_m']:.3f} m up "
        "(rule of thumb)"
    )


def _vector(vector: Data | None) -> str:
    if vector is None:
        return "unknown"
    return ", ".join(
        f"{name} {'unknown' if value is None else _metres(value)}"
        for name, value in zip(("east", "north", "up"), vector.values(), strict=True)
    )


def _metres(value: float) -> str:
    return f"{round(value, 4) + 0.0:+.4f} m"


def _table(checks: list[Data]) -> list[str]:
    if not checks:
        return ["  nothing: the log is sound"]
    rows = [f"  {'':<10}{'cause':<30}{'east':>12}{'north':>12}{'up':>12}   sigma up"]
    for check in checks:
        cells = _cells(check["effect"])
        sigma = check["sigma"]
        told = "" if sigma is None or sigma["up_m"] is None else f"{sigma['up_m']:.4f}"
        rows.append(
            f"  {check['severity']:<10}{printable(check['cause']):<30}{''.join(cells)}   {told:>8}".rstrip()
        )
    return rows


def _cells(effect: Data | None) -> list[str]:
    if effect is None:
        return [f"{'-':>12}"] * 3
    return [
        f"{'unknown':>12}" if value is None else f"{round(value, 4) + 0.0:>+12.4f}"
        for value in effect.values()
    ]


def _wrap(text: str, first: str, rest: str) -> list[str]:
    return textwrap.wrap(
        printable(text),
        WIDTH,
        initial_indent=first,
        subsequent_indent=rest,
        break_on_hyphens=False,
    ) or [first.rstrip()]


def _item(label: str, text: str) -> list[str]:
    return _wrap(text, f"  {label:<{LABEL}}", " " * (LABEL + 2))
