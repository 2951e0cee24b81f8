"""``accuracy plan``: where to survey checkpoints, how many, how well, and how sure a pass would be."""

from __future__ import annotations

import json
from pathlib import Path

import click

from accuracy.cli import EXIT_CODES, write_out
from accuracy.cli.progress import Progress
from accuracy.errors import ExitCode

EPILOG = f"""\b
Example:
  accuracy plan site/job.toml
  writes the folder site/job.plan with plan.txt, plan.csv, plan.geojson, plan.gpkg
  and field-sheet.pdf, and prints plan.txt. The job needs no table of checkpoints:
  leave file out of [checkpoints]. Before the flight it needs no deliverables, if it
  declares their crs, and an outline in [area].

{EXIT_CODES}"""


@click.command(epilog=EPILOG)
@click.argument("job", type=click.Path(path_type=Path))
@click.option("-o", "--output", type=click.Path(path_type=Path), help="Folder for the plan.")
@click.option(
    "--seed",
    type=click.IntRange(min=0),
    default=1,
    show_default=True,
    help="The same seed gives the same places.",
)
@click.option(
    "--points",
    type=click.IntRange(min=0, max=1000),
    help="Points on open ground, in place of the number that the documents want.",
)
@click.option(
    "--vegetated",
    type=click.IntRange(min=0, max=1000),
    help="Points in vegetation, in place of the number that the documents want.",
)
@click.option("--json", "as_json", is_flag=True, help="Print the plan as JSON.")
@click.option("-q", "--quiet", is_flag=True, help="No progress, no text; files only.")
def command(
    job: Path,
    output: Path | None,
    seed: int,
    points: int | None,
    vegetated: int | None,
    as_json: bool,
    quiet: bool,
) -> int:
    """Plan the survey of checkpoints for JOB: how many, where, how well, and how sure a pass would be."""
    from accuracy.job import load_job
    from accuracy.planning import plan
    from accuracy.reports.folder import write_files
    from accuracy.reports.plan_files import render_plan
    from accuracy.result import plain

    target = output or job.with_name(f"{job.stem}.plan")
    with Progress(quiet=quiet) as progress:
        found = plan(
            load_job(job, planning=True),
            progress,
            seed=seed,
            open_points=points,
            vegetated_points=vegetated,
        )
        files = render_plan(found)
        write_files(target, files)
    if as_json:
        write_out(json.dumps(plain(found), indent=1, ensure_ascii=False, allow_nan=False) + "\n")
    elif not quiet:
        write_out(files["plan.txt"].decode("utf-8") + f"\nwritten to {target}\n")
    return ExitCode.PASSES
