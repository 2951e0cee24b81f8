"""``accuracy diagnose``: why a deliverable is off, from a finished result alone."""

from __future__ import annotations

import json
from pathlib import Path

import click

from accuracy.cli import EXIT_CODES, write_out
from accuracy.cli.progress import Progress
from accuracy.errors import ExitCode, UsageError

EPILOG = f"""\b
Example:
  accuracy diagnose site/job.accuracy
  says which cause explains the residuals, or which ones would; what these data
  cannot see; and which points the others contradict. Nothing is corrected, and
  nothing of the result is changed. Ends with 0 or 2.

{EXIT_CODES}"""


@click.command(epilog=EPILOG)
@click.argument("result", metavar="RESULT", required=False, type=click.Path(path_type=Path))
@click.option(
    "--grids",
    multiple=True,
    type=click.Path(path_type=Path),
    help="Folder with geoid grids; by default those of the job, while it is where it was.",
)
@click.option("--json", "as_json", is_flag=True, help="Print the record as JSON.")
@click.option("-q", "--quiet", is_flag=True, help="No progress.")
def command(result: Path | None, grids: tuple[Path, ...], as_json: bool, quiet: bool) -> int:
    """Say why the datasets of RESULT are off: a result.json, or the folder that verify wrote."""
    if result is None:
        raise UsageError("no result given", remedy="accuracy diagnose site/job.accuracy")
    for folder in grids:
        if not folder.is_dir():
            raise UsageError(
                f"there is no folder {folder}", remedy="name a folder with geoid grids"
            )
    from accuracy.diagnosis_of_result import job_folder, shelf_of, standards_of, with_diagnosis
    from accuracy.georeferencing.grids import GridShelf
    from accuracy.reports.diagnosis_text import render_diagnosis
    from accuracy.reports.folder import MARK
    from accuracy.result import plain, read_result
    from accuracy.units import LengthUnit

    with Progress(quiet=quiet) as progress:
        path = result / MARK if result.is_dir() else result
        progress(f"reading {path}")
        record = read_result(path)
        progress("looking for causes")
        of_job = job_folder(record)
        shelf = GridShelf(tuple(grids)) if grids else shelf_of(record, of_job)
        record = with_diagnosis(record, shelf, standards_of(record, of_job))
    if as_json:
        text = json.dumps(plain(record.diagnosis), indent=1, ensure_ascii=False, allow_nan=False)
        write_out(text + "\n")
    else:
        unit = LengthUnit(record.job.get("job", {}).get("display_units", "metre"))
        write_out(render_diagnosis(record, unit))
    return ExitCode.PASSES
