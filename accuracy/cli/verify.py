"""``accuracy verify``: test the deliverables of a job against its checkpoints."""

from __future__ import annotations

import json
from pathlib import Path

import click

from accuracy.cli import EXIT_CODES, write_out
from accuracy.cli.progress import Progress
from accuracy.errors import ExitCode, UsageError

EPILOG = f"""\b
Example:
  accuracy verify site/job.toml
  writes the folder site/job.accuracy with result.json (the record), report.html,
  report.pdf, statement.txt, summary.txt and the residuals as .csv, .gpkg and
  .geojson, and prints the summary. accuracy report makes any of them again.

{EXIT_CODES}"""


@click.command(epilog=EPILOG)
@click.argument("job", required=False, type=click.Path(path_type=Path))
@click.option("-o", "--output", type=click.Path(path_type=Path), help="Folder for the result.")
@click.option(
    "--dry-run", is_flag=True, help="Read and check everything, compute and write nothing."
)
@click.option("--json", "as_json", is_flag=True, help="Print result.json instead of the summary.")
@click.option("--schema", is_flag=True, help="Print the JSON Schema of the job file, for editors.")
@click.option("--result-schema", is_flag=True, help="Print the JSON Schema of result.json.")
@click.option(
    "-q", "--quiet", is_flag=True, help="No progress, no summary; exit code and files only."
)
def command(
    job: Path | None,
    output: Path | None,
    dry_run: bool,
    as_json: bool,
    schema: bool,
    result_schema: bool,
    quiet: bool,
) -> int:
    """Test the deliverables of JOB against its checkpoints and judge its claims."""
    if schema:
        from accuracy.job import job_schema

        write_out(json.dumps(job_schema(), indent=1) + "\n")
        return ExitCode.PASSES
    if result_schema:
        from accuracy.result import result_schema as give

        write_out(json.dumps(give(), indent=1, ensure_ascii=False) + "\n")
        return ExitCode.PASSES
    if job is None:
        raise UsageError(
            "no job file given", remedy="accuracy verify JOB; accuracy demo makes one to try"
        )
    from accuracy.job import load_job

    loaded = load_job(job)
    if dry_run:
        return _check_only(loaded, quiet=quiet)
    return run_and_write(job, output, as_json=as_json, quiet=quiet)


def _check_only(job: object, *, quiet: bool) -> int:
    from accuracy.job import Job
    from accuracy.preparation import prepare

    assert isinstance(job, Job)
    with Progress(quiet=quiet) as progress:
        prepared = prepare(job, progress)
    if not quiet:
        write_out(prepared.describe())
    return ExitCode.PASSES


def run_and_write(job_path: Path, output: Path | None, *, as_json: bool, quiet: bool) -> int:
    """Verify a job, write its result folder, and print what the user asked for."""
    from accuracy.job import load_job
    from accuracy.pipeline import verify
    from accuracy.reports import render_all
    from accuracy.reports.folder import check_replaceable, recover, write_folder

    target = output or job_path.with_name(f"{job_path.stem}.accuracy")
    recovered = recover(target)
    check_replaceable(target)
    with Progress(quiet=quiet) as progress:
        if recovered:
            progress(recovered)
        result = verify(load_job(job_path), progress)
        files = render_all(result)
        write_folder(target, files)
    if as_json:
        write_out(files["result.json"].decode("utf-8"))
    elif not quiet:
        from accuracy.cli.colour import with_colour

        write_out(with_colour(files["summary.txt"].decode("utf-8")))
        write_out(f"\nwritten to {target}\n")
    return result.exit_code
