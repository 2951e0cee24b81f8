"""Pictures of checkpoints, photographs and notes of the survey, as page and PDF show them."""

from __future__ import annotations

import base64
from collections.abc import Mapping
from math import inf
from typing import Any

from accuracy.reports.pictures import side_files
from accuracy.reports.words import length, printable
from accuracy.residuals import ResidualRow
from accuracy.result import DatasetResult, Result
from accuracy.units import LengthUnit

#: Most bytes of pictures that a page carries in itself; beyond it, pictures are links to the files beside it.
EMBEDDED_BYTES = 8_000_000

#: Most pictures of one dataset in the PDF: those of the largest differences.
PDF_MOST = 12

#: Most photographs in the PDF.
PDF_PHOTOGRAPHS = 12


def pictures_on_page(result: Result) -> tuple[dict[str, dict[str, Any]], dict[str, str]]:
    """Give, by dataset and key of the point, the files to show, and the content of those that are embedded.

    Returns
    -------
    shown : dict
        ``d0`` to {key of the point: {"evidence": file, "photograph": file, "about": text}}.
    embedded : dict
        File name to the data after ``data:``: SVG as text, JPEG in base 64.
    """
    there = side_files(result)
    photographs = _photographs(result)
    shown: dict[str, dict[str, Any]] = {}
    wanted: dict[str, int] = {}
    for place, dataset in enumerate(result.datasets):
        evidence = _evidence(result, dataset)
        points: dict[str, dict[str, str]] = {}
        for key, row in enumerate(dataset.residuals):
            its: dict[str, str] = {}
            if (file := evidence.get(row.id)) in there:
                its["evidence"] = str(file)
            photograph = photographs.get(row.id)
            if photograph is not None and photograph["file"] in there:
                its["photograph"] = photograph["file"]
                its["about"] = printable(
                    f"Photograph {photograph['written']}, scaled, without what the camera noted in it "
                    f"(EXIF). SHA-256 of the original: {photograph['sha256']}"
                )
            if its:
                points[str(key)] = its
                wanted |= {
                    its[k]: len(there[its[k]]) for k in ("evidence", "photograph") if k in its
                }
        shown[f"d{place}"] = points
    embedded: dict[str, str] = {}
    total = 0
    for file, size in wanted.items():
        total += size
        if total > EMBEDDED_BYTES:
            break
        content = there[file]
        if file.endswith(".svg"):
            embedded[file] = content.decode("utf-8", "replace")
        else:
            embedded[file] = base64.b64encode(content).decode("ascii")
    return shown, embedded


def told_of_pictures(result: Result, place: int) -> str:
    """Say in a sentence what pictures a dataset has; empty without any."""
    dataset = result.datasets[place]
    record = _record(result, dataset)
    if record is None:
        return ""
    there = side_files(result)
    files = [str(point["file"]) for point in record["points"]]
    count = sum(file in there for file in files)
    told = f"{count} points have a picture: two profiles and a plan, in the folder evidence beside the record."
    if missing := len(files) - count:
        told += f" {missing} of them are not there, or not those that the record names."
    if record["left_out"]:
        told += f" {record['left_out']} points with smaller differences were not drawn."
    return told


def pdf_pictures(result: Result, dataset: DatasetResult) -> tuple[list[dict[str, str]], str]:
    """Give the drawings of a dataset's largest differences, and say which they are."""
    there = side_files(result)
    evidence = _evidence(result, dataset)
    rows = [row for row in dataset.residuals if evidence.get(row.id) in there]
    largest = sorted(rows, key=lambda row: (row.role != "checkpoint", -_size(row)))[:PDF_MOST]
    drawn = [
        {"svg": there[str(evidence[row.id])].decode("utf-8", "replace"), "title": row.id}
        for row in largest
    ]
    if not drawn:
        return [], ""
    left = len(rows) - len(drawn)
    told = f"The {len(drawn)} points of the largest differences"
    told += f"; {left} more are in the folder evidence beside the record." if left else "."
    return drawn, told


def _size(row: ResidualRow) -> float:
    """Order points: those without a height first."""
    return inf if row.residual is None or row.residual.up_m is None else abs(row.residual.up_m)


def pdf_photographs(result: Result) -> list[dict[str, Any]]:
    """Give the crew's photographs, scaled; bytes as numbers, as the typesetter takes them."""
    there = side_files(result)
    return [
        {
            "id": id_,
            "jpeg": list(there[str(its["file"])]),
            "written": str(its["written"]),
            "sha256": str(its["sha256"]),
        }
        for id_, its in _photographs(result).items()
        if its["file"] in there
    ][:PDF_PHOTOGRAPHS]


def survey_lines(result: Result, unit: LengthUnit) -> list[str]:
    """Tell of the survey: by whom, when, with what, and what repeated occupations say."""
    points = result.survey.get("points") or ()
    lines = []
    for name, label in (
        ("date", "Surveyed on"),
        ("method", "Method"),
        ("instrument", "Instrument"),
        ("observer", "Observer"),
    ):
        counts: dict[str, int] = {}
        for point in points:
            if value := point.get(name):
                counts[str(value)] = counts.get(str(value), 0) + 1
        if counts:
            told = ", ".join(f"{printable(v)} ({n} points)" for v, n in sorted(counts.items())[:8])
            lines.append(f"{label}: {told}{' ...' if len(counts) > 8 else ''}.")
    repeats = result.survey.get("repeats")
    if repeats:
        values = [
            f"{axis} {length(repeats[f'sd_{axis}_m'], unit, decimals=4)} {unit.symbol}"
            for axis in ("east", "north", "up")
            if repeats[f"sd_{axis}_m"] is not None
        ]
        lines.append(
            f"{repeats['points']} points were occupied {repeats['occupations']} times; their means are used. "
            f"Standard deviation of one occupation ({repeats['degrees_of_freedom']} degrees of freedom): "
            f"{', '.join(values) or 'not known'}."
        )
        lines += [_test_line(test, repeats, unit) for test in repeats["tests"]]
    return lines


def _test_line(test: Mapping[str, Any], repeats: Mapping[str, Any], unit: LengthUnit) -> str:
    held = "contradict it" if test["worse"] else "do not contradict it"
    stated, found = (
        f"{length(test[key], unit, decimals=4)} {unit.symbol}" for key in ("stated_m", "found_m")
    )
    count = repeats["fewest_occupations"]
    return (
        f"Stated {test['component']} survey accuracy {stated}; the repeats give {found} for a position of "
        f"{count} occupation{'s' * (count > 1)} and {held} (p = {test['p']:.2g}, one-sided test at "
        f"{repeats['level']:.0%})."
    )


def _record(result: Result, dataset: DatasetResult) -> Mapping[str, Any] | None:
    series = result.series.get(dataset.name)
    found = series.get("evidence") if isinstance(series, Mapping) else None
    if not isinstance(found, Mapping) or not isinstance(found.get("points"), (list, tuple)):
        return None
    entries = all(isinstance(p, Mapping) and {"id", "file"} <= p.keys() for p in found["points"])
    return {"left_out": 0, **found} if entries else None


def _evidence(result: Result, dataset: DatasetResult) -> dict[str, str]:
    record = _record(result, dataset)
    return {} if record is None else {str(p["id"]): str(p["file"]) for p in record["points"]}


def _photographs(result: Result) -> dict[str, Mapping[str, Any]]:
    return {
        str(point["id"]): point["photograph"]
        for point in result.survey.get("points") or ()
        if point.get("photograph")
    }
