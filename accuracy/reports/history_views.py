"""The history of recorded runs: as a table with bars for a terminal, as CSV and as JSON."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from accuracy.ledger_record import Entry, Tracked
from accuracy.reports.as_csv import safe
from accuracy.reports.words import VERDICT_WORDS, length, printable
from accuracy.result import plain
from accuracy.units import LengthUnit

_BAR = 24

COLUMNS = (
    "run",
    "finished",
    "flown",
    "site",
    "sensor",
    "title",
    "dataset",
    "component",
    "cover",
    "n",
    "rmse_m",
    "mean_m",
    "std_m",
    "verdict",
    "tool_version",
    "settings",
    "result_sha256",
)

Settings = Mapping[int, Mapping[str, str]]


@dataclass(frozen=True)
class Line:
    """Runs whose figures can stand in one line over time: one site, sensor, dataset, component and cover."""

    site: str | None
    sensor: str | None
    dataset: str
    component: str
    cover: str
    points: tuple[tuple[Entry, Tracked], ...]

    @property
    def name(self) -> str:
        """For a heading."""
        cover = "" if self.cover == "all" else self.cover
        place = self.site or "no site named"
        return printable(
            ", ".join(filter(None, (place, self.sensor, self.dataset, self.component, cover)))
        )


def lines(entries: Sequence[Entry]) -> tuple[Line, ...]:
    """Put runs together that belong in one line, each in the order of time."""
    found: dict[tuple[str, str, str, str, str], list[tuple[Entry, Tracked]]] = {}
    for entry in entries:
        for figure in entry.figures:
            key = (
                entry.site or "",
                entry.sensor or "",
                figure.dataset,
                figure.component,
                figure.cover,
            )
            found.setdefault(key, []).append((entry, figure))
    return tuple(
        Line(site or None, sensor or None, dataset, component, cover, tuple(points))
        for (site, sensor, dataset, component, cover), points in sorted(found.items())
    )


def different(entries: Sequence[Entry], settings: Settings) -> Settings:
    """Leave only the settings that are not the same in all runs."""
    its = [settings[entry.number] for entry in entries]
    keys = sorted({key for one in its for key in one})
    wanted = [key for key in keys if len({one.get(key) for one in its}) > 1]
    return {
        entry.number: {key: one[key] for key in wanted if key in one}
        for entry, one in zip(entries, its, strict=True)
    }


def text(entries: Sequence[Entry], settings: Settings) -> str:
    """Give a table for each line, with a bar for each RMSE."""
    if not entries:
        return "no run fits\n"
    shown = different(entries, settings)
    found = []
    for line in lines(entries):
        found += [line.name, "-" * 96, *_table(line, shown), ""]
    told = "RMSE and mean in metres, measured minus surveyed; bars begin at zero. Settings: only what differs."
    return "\n".join([*found, told]) + "\n"


def _table(line: Line, shown: Settings) -> Iterator[str]:
    largest = max((figure.rmse_m or 0.0 for _, figure in line.points), default=0.0)
    metre = LengthUnit.METRE
    yield f"  {'run':>4}  {'finished':<16}  {'n':>4}  {'RMSE':>7}  {'mean':>7}  verdict"
    for entry, figure in line.points:
        share = (figure.rmse_m or 0.0) / largest if largest else 0.0
        bar = "#" * round(_BAR * share)
        settings = ", ".join(f"{key} = {value}" for key, value in shown[entry.number].items())
        yield (
            f"  {entry.number:>4}  {entry.finished[:16]:<16}  {figure.n:>4}  "
            f"{length(figure.rmse_m, metre, decimals=4):>7}  "
            f"{length(figure.mean_m, metre, decimals=4, sign=True):>7}  "
            f"{_verdict(entry, figure):<12}  {bar:<{_BAR}}  {printable(settings)}"
        ).rstrip()


def _verdict(entry: Entry, figure: Tracked) -> str:
    verdicts = [verdict for dataset, _, verdict in entry.claims if dataset == figure.dataset]
    for verdict in ("fails", "no-statement", "passes", "reported"):
        if verdict in verdicts:
            return VERDICT_WORDS[verdict].lower()
    return "-"


def as_csv(entries: Sequence[Entry], settings: Settings) -> str:
    """Give one row for each run and figure, safe to open in a spreadsheet."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(COLUMNS)
    for entry in entries:
        told = "; ".join(f"{key}={value}" for key, value in settings[entry.number].items())
        for figure in entry.figures:
            cells = (
                entry.number,
                entry.finished,
                entry.flown,
                entry.site,
                entry.sensor,
                entry.title,
                figure.dataset,
                figure.component,
                figure.cover,
                figure.n,
                figure.rmse_m,
                figure.mean_m,
                figure.std_m,
                _verdict(entry, figure),
                entry.tool_version,
                told,
                entry.sha256,
            )
            writer.writerow(
                "" if cell is None else safe(cell) if isinstance(cell, str) else repr(cell)
                for cell in cells
            )
    return stream.getvalue()


def as_json(entries: Sequence[Entry]) -> str:
    """Give the runs as JSON."""
    record = {"format": "accuracy-history", "format_version": 1, "runs": plain(list(entries))}
    return json.dumps(record, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
