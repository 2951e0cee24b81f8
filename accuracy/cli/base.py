"""``accuracy base``: whether the rock that everything stands on is where it was said to be."""

from __future__ import annotations

import json
from pathlib import Path

import click

from accuracy.cli import EXIT_CODES, write_out
from accuracy.cli.progress import Progress
from accuracy.errors import ExitCode, UsageError

EPILOG = f"""\b
Example:
  accuracy base site/job.toml
  holds the base's coordinates, antenna height, antenna and record against
  each other, says by how much each mistake moves the deliverable (east,
  north, up), and checks the trajectory where the job names one.

{EXIT_CODES}"""


@click.command(epilog=EPILOG)
@click.argument("job", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print the same as JSON.")
@click.option("-q", "--quiet", is_flag=True, help="No progress.")
def command(job: Path, as_json: bool, quiet: bool) -> int:
    """Check the GNSS base of JOB, and the trajectory flown from it."""
    from accuracy.job import load_job
    from accuracy.preparation import prepare
    from accuracy.processing_checks import check_processing
    from accuracy.reports.base_text import render_base
    from accuracy.reports.trajectory_text import render_trajectory

    loaded = load_job(job)
    if loaded.base is None and loaded.trajectory is None:
        raise UsageError(
            f"{job} has neither a section [base] nor a section [trajectory]",
            remedy="write [base] with the mark, its coordinates and the antenna height; see the README",
        )
    with Progress(quiet=quiet) as progress:
        checked = check_processing(prepare(loaded, progress), progress=progress)
    if as_json:
        record = {"base": checked.base_data, "trajectory": checked.trajectory_data}
        write_out(json.dumps(record, indent=1, ensure_ascii=False, allow_nan=False) + "\n")
    else:
        blocks = []
        if checked.base is not None:
            blocks.append(render_base(checked.base_data))
        if checked.trajectory is not None:
            blocks.append(render_trajectory(checked.trajectory))
        write_out("\n".join(blocks))
    return ExitCode.FAILS if checked.blocked else ExitCode.PASSES
