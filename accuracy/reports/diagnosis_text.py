"""The diagnosis in words and tables: a view of ``diagnosis`` in the record."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from accuracy.reports.words import VERDICT_WORDS, length, printable
from accuracy.result import Result, plain
from accuracy.units import LengthUnit

WIDTH = 96
#: Causes in the table at most.
MOST = 10
Data = Mapping[str, Any]


def paragraphs(result: Result, dataset: str, unit: LengthUnit) -> tuple[str, ...]:
    """Give the diagnosis of a dataset as paragraphs for summary, page and PDF; none without one."""
    its = result.diagnosis.get(dataset)
    if not its:
        return ()
    return tuple(printable(text) for text in (its["text"], *supposed(its, unit)))


def supposed(its: Data, unit: LengthUnit) -> Iterator[str]:
    """Say what the verdict would be without the named cause."""
    if not its["what_if"]:
        return
    what = plain(its["what_if"])
    told = ", ".join(
        f"{figure['component']} {'RMSE' if figure['statistic'] == 'rmse' else figure['statistic']} "
        f"{length(figure['value'], unit, sign=figure['statistic'] == 'mean')} {unit.symbol}"
        for figure in what["figures"]
        if figure["cover"] == "all"
        and figure["component"] in ("east", "north", "up")
        and figure["statistic"] in ("mean", "rmse")
    )
    verdicts = [
        "not known (its standard is not at hand)" if v is None else VERDICT_WORDS[v]
        for v in what["verdicts"]
    ]
    claims = f"; the claims in their order: {', '.join(verdicts)}" if verdicts else ""
    yield f"What if {' and '.join(what['causes'])} were removed: {told}{claims}. This is {what['is']}."


def summary_lines(result: Result, unit: LengthUnit) -> list[str]:
    """Give the section of the summary; empty where there is no diagnosis."""
    lines = []
    for dataset in result.datasets:
        for i, text in enumerate(paragraphs(result, dataset.name, unit)):
            told = f"{printable(dataset.name)}: {text}" if i == 0 else text
            lines += _wrap(told, "  " if i == 0 else "    ", "    ")
    return lines


def render_diagnosis(result: Result, unit: LengthUnit) -> str:
    """Give everything, as ``accuracy diagnose`` prints it."""
    blocks = [_dataset(result, dataset.name, unit) for dataset in result.datasets]
    return "\n".join(blocks)


def _dataset(result: Result, name: str, unit: LengthUnit) -> str:
    its = plain(result.diagnosis.get(name) or {})
    rows = [f"Diagnosis of {printable(name)}", "-" * WIDTH]
    if not its:
        return "\n".join([*rows, "  none"]) + "\n"
    for text in paragraphs(result, name, unit):
        rows += _wrap(text, "  ", "  ")
    rows += _causes(its["causes"])
    rows += _parameters(its["parameters"])
    rows += _lines(its["lines"], unit)
    if its["conclusion"] != "no-residuals":
        rows += ["", *_wrap(_errors(its["errors"], unit), "  ", "  ")]
    rows += _blunders(its["blunders"], unit)
    return "\n".join(rows) + "\n"


def _causes(causes: Sequence[Data]) -> list[str]:
    if not causes:
        return []
    rows = ["", f"  {'cause':<52}{'stands':<12}{'chi-square':>11}{'leaves':>9}{'bound':>8}"]
    for cause in causes[:MOST]:
        names = " + ".join(c["cause"] for c in cause["causes"])
        floor = "" if cause["above_floor"] else "  below its floor"
        rows.append(
            f"  {printable(names):<52}{cause['standing']:<12}{_number(cause['score']):>11}"
            f"{_number(cause['leftover']):>9}{_number(cause['bound']):>8}{floor}"
        )
    rows += _wrap(
        "chi-square with the price of free sizes; leaves: squared Mahalanobis distance of what is left to the "
        "general fit, bound: 99 %",
        "  ",
        "  ",
    )
    return rows


def _number(value: float | None) -> str:
    if value is None:
        return "-"
    return f"{value:.1f}" if abs(value) < 1e5 else f"{value:.1e}"


def _parameters(parameters: Sequence[Data]) -> list[str]:
    if not parameters:
        return []
    rows = ["", f"  {'general fit':<20}{'value':>12}{'std. error':>12}{'floor':>12}  unit"]
    for p in parameters:
        if p["state"] == "separable":
            cells = "".join(f"{v:>12.4g}" for v in (p["value"], p["sigma"], p["floor"]))
            rows.append(f"  {p['name']:<20}{cells}  {p['unit']}")
        elif p["state"] == "blind":
            rows.append(f"  {p['name']:<20}{'not seen by these data':>36}")
        else:
            rows += _wrap(
                f"not told apart from {', '.join(p['look_alikes'])}", f"  {p['name']:<20}", " " * 22
            )
    return rows


def _lines(lines: Sequence[Data], unit: LengthUnit) -> list[str]:
    if len(lines) < 2:
        return []
    rows = [
        "",
        f"  {'flight line':<14}{'points':>7}{'heading':>9}{'east':>10}{'north':>10}{'up':>10}   {unit.symbol}",
    ]
    for line in lines:
        heading = "-" if line["heading_deg"] is None else f"{line['heading_deg']:.0f}°"
        cells = "".join(
            f"{length(line[f'{axis}_m'], unit, sign=True):>10}" for axis in ("east", "north", "up")
        )
        rows.append(f"  {line['line']:<14}{line['points']:>7}{heading:>9}{cells}")
    return rows


def _errors(errors: Data, unit: LengthUnit) -> str:
    def both(part: str) -> str:
        return " and ".join(length(errors[f"{part}_{x}_m"], unit) for x in ("h", "v"))

    return (
        f"Standard deviations in {unit.print_name}, horizontal per axis and vertical: one row "
        f"{both('noise')}; the survey of a point {both('point')}; a flight line {both('line')}; shared by "
        f"everything, assumed: {both('shared')}."
    )


def _blunders(blunders: Data, unit: LengthUnit) -> list[str]:
    rows = []
    for axis, both in blunders["figures"].items():
        told = "; ".join(
            f"{which} them n {its['n']}, mean {length(its.get('mean_m'), unit, sign=True)}, RMSE "
            f"{length(its.get('rmse_m'), unit)} {unit.symbol}"
            for which, its in both.items()
        )
        rows += _wrap(f"{axis}: {told}", "  ", "    ")
    return ["", "  With and without the points that the others contradict", *rows] if rows else []


def _wrap(text: str, first: str, rest: str) -> list[str]:
    return textwrap.wrap(
        text, WIDTH, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False
    ) or [first.rstrip()]
