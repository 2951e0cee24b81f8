"""``accuracy lines``: flight line against flight line, in the field, without any checkpoint."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from accuracy.cli import EXIT_CODES, write_out
from accuracy.cli.progress import Progress
from accuracy.errors import ExitCode, UsageError

if TYPE_CHECKING:
    from accuracy.deliverables import Deliverable
    from accuracy.flightlines.analysis import Reading
    from accuracy.job.sections import Claim
    from accuracy.lines_of_job import Asked, DatasetLines, Printed
    from accuracy.lines_record import LinesReport
    from accuracy.standards.library import Standard
    from accuracy.trajectory.record import FlightLine

    Claimed = list[tuple[Standard, Claim]]

#: Name of files that were handed in without a job.
CLOUD = "cloud"

EPILOG = f"""\b
Example:
  accuracy lines site/cloud/*.laz --by usgs-lbs-2025a:quality_level=QL1
  says how far the lines differ where they overlap, how thick each is, how dense,
  and where it has gaps; judges that by the document, and writes the folder
  site/cloud/lines.accuracy with page, pictures, raster and GeoPackage.
  accuracy lines site/job.toml
  does the same with the clouds and claims of a job; no checkpoints are read.

{EXIT_CODES}"""


@click.command(epilog=EPILOG)
@click.argument("sources", nargs=-1, metavar="JOB|FILE...")
@click.option("-o", "--output", type=click.Path(path_type=Path), help="Folder for the result.")
@click.option(
    "--by",
    multiple=True,
    metavar="ID[:KEY=VALUE]",
    help="Judge by these documents. Several: with commas, or again. With a job: in place of its claims.",
)
@click.option("--design-spacing", type=float, help="Spacing of pulses ordered (ANPS), in metres.")
@click.option("--cell", type=float, help="Side of the cells that planes are fitted in, in metres.")
@click.option("--slope-limit", type=float, help="Steeper cells are not assessed, in degrees.")
@click.option(
    "--unit",
    type=click.Choice(["metre", "foot", "us-survey-foot"]),
    help="Unit of files that declare none.",
)
@click.option(
    "--workers",
    type=click.IntRange(min=1),
    default=1,
    show_default=True,
    help="Processes that read tiles.",
)
@click.option("--json", "as_json", is_flag=True, help="Print the record instead of the text.")
@click.option("--schema", is_flag=True, help="Print the JSON Schema of the record.")
@click.option("-q", "--quiet", is_flag=True, help="No progress, no text; exit code and files only.")
def command(
    sources: tuple[str, ...],
    output: Path | None,
    by: tuple[str, ...],
    design_spacing: float | None,
    cell: float | None,
    slope_limit: float | None,
    unit: str | None,
    workers: int,
    as_json: bool,
    schema: bool,
    quiet: bool,
) -> int:
    """Compare the flight lines of point clouds with each other; no checkpoints are needed."""
    from accuracy.lines_of_job import Asked
    from accuracy.units import LengthUnit

    if schema:
        from accuracy.lines_record import lines_schema

        write_out(json.dumps(lines_schema(), indent=1, ensure_ascii=False) + "\n")
        return ExitCode.PASSES
    asked = Asked(
        design_anps_m=_positive("--design-spacing", design_spacing),
        cell_m=_positive("--cell", cell),
        slope_limit_deg=_positive("--slope-limit", slope_limit, below=60.0),
        unit=None if unit is None else LengthUnit(unit),
    )
    paths = _paths(sources)
    a_job = len(paths) == 1 and paths[0].suffix.lower() == ".toml"
    where = paths[0].with_name(f"{paths[0].stem}.lines" if a_job else "lines.accuracy")
    return _run(paths, where, output, asked, by, workers, as_json=as_json, quiet=quiet)


def _positive(name: str, value: float | None, below: float = 1e6) -> float | None:
    if value is not None and not 0.0 < value < below:
        raise UsageError(f"{name} {value:g}", remedy=f"give a number above 0 and below {below:g}")
    return value


def _paths(sources: Sequence[str]) -> list[Path]:
    from accuracy.cli.inspect import expanded

    if not sources:
        raise UsageError("no job and no file given", remedy="accuracy lines JOB, or FILE...")
    paths = expanded(tuple(sources))
    jobs = [path for path in paths if path.suffix.lower() == ".toml"]
    if jobs and len(paths) > 1:
        raise UsageError("a job stands alone", remedy="give one job, or point clouds")
    return paths


def _run(
    paths: list[Path],
    where: Path,
    output: Path | None,
    asked: Asked,
    by: tuple[str, ...],
    workers: int,
    *,
    as_json: bool,
    quiet: bool,
) -> int:
    from accuracy.reports.folder import check_replaceable, recover, result_folder, write_folder
    from accuracy.reports.lines_folder import files, subjects
    from accuracy.reports.lines_text import render

    target = result_folder(output or where)
    recovered = recover(target)
    check_replaceable(target)
    started = datetime.now(UTC)
    with (
        Progress(quiet=quiet) as progress,
        _reading(workers) as reading,
        tempfile.TemporaryDirectory(prefix="accuracy-lines-") as aside,
    ):
        if recovered:
            progress(recovered)
        opened = _opened(paths, by, asked, progress)
        report, found = _compare(opened, reading, progress, started, workers)
        progress("drawing")
        write_folder(target, files(report, found, Path(aside)))
    if as_json:
        write_out(report.to_json())
    elif not quiet:
        from accuracy.cli.colour import with_colour

        text = render(report.title, report.verdict, subjects(report, found), report.findings)
        write_out(with_colour(text))
        write_out(f"\nwritten to {output or where}\n")
    return report.exit_code


@dataclass(frozen=True)
class Opened:
    """What is to be compared: clouds, what is claimed of each, and how."""

    items: list[Deliverable]
    claims: dict[str, Claimed]
    printed: Printed
    asked: Asked
    flown: tuple[FlightLine, ...] = ()


@contextmanager
def _reading(workers: int) -> Iterator[Reading | None]:
    if workers == 1:
        yield None
        return
    from accuracy.parallel import Workers

    with Workers(workers) as crew:
        yield crew.reduce


def _opened(paths: list[Path], by: tuple[str, ...], asked: Asked, progress: Progress) -> Opened:
    """Open the clouds, and find what is claimed of each."""
    from accuracy.lines_of_job import Printed, merged, open_files
    from accuracy.standards.library import load_standard

    if paths[0].suffix.lower() != ".toml":
        item = open_files(paths, CLOUD, progress)
        title = paths[0].name if len(paths) == 1 else f"{len(paths)} files"
        return Opened([item], {CLOUD: _claims(by, CLOUD)}, Printed(title), asked)
    from accuracy.job import load_job
    from accuracy.lines_of_job import asked_of_job, clouds_of, without_checkpoints
    from accuracy.preparation import prepare
    from accuracy.trajectory_of_job import flown_lines

    job = load_job(paths[0], planning=True)
    prepared = prepare(without_checkpoints(job), progress, planning=True)
    items = clouds_of(prepared)
    claims = {
        item.setting.name: _claims(by, item.setting.name)
        if by
        else [
            (load_standard(claim.standard, job.folder), claim)
            for claim in job.claim
            if claim.dataset == item.setting.name
        ]
        for item in items
    }
    about = job.job
    printed = Printed(about.title, about.display_units, about.prepared_for, about.prepared_by)
    return Opened(items, claims, printed, merged(asked, asked_of_job(job)), flown_lines(prepared))


def _claims(by: tuple[str, ...], dataset: str) -> Claimed:
    from accuracy.cli.editions import split, value_of
    from accuracy.job.sections import Claim
    from accuracy.standards.library import check_claim, load_standard

    found: Claimed = []
    for name, given in split(by, "--by") if by else []:
        standard = load_standard(name)
        kinds = {key.name: key.kind for key in standard.claim_keys}
        keys = {key: value_of(text, kinds.get(key)) for key, text in given.items()}
        problems = check_claim(name, keys, f"--by {name}")
        if problems:
            wrong = "; ".join(f"{p.where}: {p.found}, {p.allowed}" for p in problems)
            raise UsageError(wrong, remedy=f"see accuracy standards {name}")
        if not standard.line_rules:
            raise UsageError(
                f"--by {name}: the document says nothing of flight lines",
                remedy="accuracy standards ID shows what a document says",
            )
        found.append((standard, Claim(dataset=dataset, standard=name, **keys)))
    return found


def _compare(
    opened: Opened,
    reading: Reading | None,
    progress: Progress,
    started: datetime,
    workers: int,
) -> tuple[LinesReport, list[DatasetLines]]:
    from accuracy import __version__
    from accuracy.georeferencing.library import epsg_version, proj_version
    from accuracy.line_statement import LINE_CAUTIONS
    from accuracy.lines_of_job import compare_lines
    from accuracy.lines_record import LinesInput, LinesReport
    from accuracy.provenance import Hashing, library_versions, python_version
    from accuracy.result import Run, overall

    items, printed = opened.items, opened.printed
    found = []
    with Hashing() as hashing:
        hashing.begin(file.path for item in items for file in item.files)
        for number, item in enumerate(items, 1):
            found.append(
                compare_lines(
                    item,
                    opened.claims[item.setting.name],
                    opened.asked,
                    printed,
                    number=number,
                    progress=progress,
                    reading=reading,
                    flown=opened.flown,
                )
            )
        inputs = tuple(
            LinesInput(
                file.path.name,
                item.setting.name,
                file.format,
                file.path.stat().st_size,
                hashing.of(file.path),
                file.reference.name,
            )
            for item in items
            for file in item.files
        )
    report = LinesReport(
        run=Run(
            tool_version=__version__,
            python=python_version(),
            libraries=library_versions(),
            proj=proj_version(),
            epsg=epsg_version(),
            started=started.isoformat(timespec="seconds"),
            finished=datetime.now(UTC).isoformat(timespec="seconds"),
            paths={f.path.name: f.path.absolute().as_posix() for item in items for f in item.files},
            workers=workers,
        ),
        title=printed.title,
        display_unit=printed.display_unit.value,
        inputs=inputs,
        lines={its.name: its.data for its in found},
        findings=tuple(finding for its in found for finding in its.findings),
        cautions=LINE_CAUTIONS,
        verdict=overall([verdict for its in found for verdict in its.verdicts]),
    )
    return report, found
