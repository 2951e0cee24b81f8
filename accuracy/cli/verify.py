"""``accuracy verify``: test the deliverables of a job against its checkpoints."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from accuracy.cli import EXIT_CODES, write_out
from accuracy.cli.progress import Progress
from accuracy.errors import ExitCode, UsageError

if TYPE_CHECKING:
    from accuracy.measuring import Reading
    from accuracy.result import Result
    from accuracy.standards.judge import Evidence

EPILOG = f"""\b
Example:
  accuracy verify site/job.toml
  writes the folder site/job.accuracy with result.json (the record), report.html,
  report.pdf, statement.txt, summary.txt and the residuals as .csv, .gpkg and
  .geojson, and prints the summary. accuracy report makes any of them again.
  accuracy verify site/job.toml --under asprs-2014:vertical_class_cm=10,nssda-1998
  judges by these, too, and shows all side by side with the tightest classes.

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
    "--workers",
    type=click.IntRange(min=1),
    default=1,
    show_default=True,
    help="Processes that read tiles.",
)
@click.option("--scheduler", help="Address of a dask scheduler whose workers read tiles.")
@click.option(
    "--index",
    type=click.Path(path_type=Path),
    help="Folder for indexes of point clouds, which make the next run read only what it needs."
    " Default: beside the result.",
)
@click.option("--no-index", is_flag=True, help="Neither use nor keep indexes.")
@click.option(
    "--reuse-hashes",
    is_flag=True,
    help="Record SHA-256 of inputs, and take it from there while size and time agree.",
)
@click.option(
    "--record", is_flag=True, help="Append the result to the ledger, for accuracy history."
)
@click.option(
    "--ledger",
    type=click.Path(path_type=Path),
    help="File of the ledger, made where there is none. Default: accuracy-ledger.sqlite beside the result.",
)
@click.option(
    "--junit", type=click.Path(path_type=Path), help="Write the claims as JUnit XML, too."
)
@click.option(
    "--under",
    multiple=True,
    metavar="ID[:KEY=VALUE]",
    help="Judge by these documents, too, and show all side by side. Several: with commas, or again.",
)
@click.option(
    "--no-evidence",
    is_flag=True,
    help="Draw no picture of each checkpoint: faster, and a smaller result.",
)
@click.option("--explain", is_flag=True, help="Show each formula with the numbers put in.")
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
    workers: int,
    scheduler: str | None,
    index: Path | None,
    no_index: bool,
    reuse_hashes: bool,
    record: bool,
    ledger: Path | None,
    junit: Path | None,
    under: tuple[str, ...],
    no_evidence: bool,
    explain: bool,
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
    if ledger is not None and not record:
        raise UsageError("--ledger goes with --record", remedy="add --record")
    from accuracy.job import load_job

    loaded = load_job(job)
    if dry_run:
        from accuracy.cli.editions import with_editions

        return _check_only(with_editions(loaded, under), quiet=quiet)
    ways = Ways(
        workers,
        scheduler,
        index,
        use_index=not no_index,
        reuse_hashes=reuse_hashes,
        evidence=not no_evidence,
    )
    keep = Keeping(record, ledger, junit)
    return run_and_write(
        job,
        output,
        as_json=as_json,
        quiet=quiet,
        ways=ways,
        keep=keep,
        under=under,
        explain=explain,
    )


@dataclass(frozen=True)
class Ways:
    """How files are read, as asked for on the command line."""

    workers: int = 1
    scheduler: str | None = None
    index: Path | None = None
    use_index: bool = True
    reuse_hashes: bool = False
    evidence: bool = True

    @contextmanager
    def reading(self, target: Path) -> Iterator[Reading]:
        """Start the workers, if any; what a run that fails leaves in a new folder of indexes goes again."""
        from accuracy.measuring import Reading
        from accuracy.parallel import Workers

        folder = self.index or target.with_name(f"{target.name}-index")
        fresh = not folder.exists()
        reading = Reading(
            workers=self.workers,
            index_folder=folder if self.use_index else None,
            hashes=folder / "hashes.json" if self.reuse_hashes else None,
            evidence=self.evidence,
        )
        try:
            if self.workers == 1 and self.scheduler is None:
                yield reading
            else:
                with Workers(self.workers, self.scheduler) as workers:
                    yield replace(
                        reading,
                        read=workers.read,
                        reduce=workers.reduce,
                        workers=workers.count,
                        scheduler=self.scheduler,
                    )
        except BaseException:
            if fresh and folder.is_dir():
                shutil.rmtree(folder, ignore_errors=True)
            raise


@dataclass(frozen=True)
class Keeping:
    """Where a result goes beside its folder."""

    record: bool = False
    ledger: Path | None = None
    junit: Path | None = None

    def check(self, target: Path) -> None:
        """Open the ledger, so that what is wrong with it is told before anything is computed."""
        if self.record:
            from accuracy.cli import say
            from accuracy.ledger import Ledger

            with Ledger.open(self._path(target), create=True) as ledger:
                for note in ledger.notes:
                    say(note)

    def keep(self, result: Result, content: bytes, target: Path) -> str | None:
        """Record the result and write its test cases; tell in words what was recorded."""
        if self.junit is not None:
            from accuracy.reports.folder import write_files
            from accuracy.reports.junit import of_result

            write_files(self.junit.parent, {self.junit.name: of_result(result)})
        if not self.record:
            return None
        from accuracy.ledger import Ledger

        with Ledger.open(self._path(target), create=True) as ledger:
            return f"recorded as run {ledger.record(content).number} of {ledger.path}"

    def _path(self, target: Path) -> Path:
        from accuracy.ledger import ledger_beside

        return self.ledger or ledger_beside(target)


def _check_only(job: object, *, quiet: bool) -> int:
    from accuracy.job import Job
    from accuracy.preparation import prepare
    from accuracy.reports.words import printable_lines

    assert isinstance(job, Job)
    with Progress(quiet=quiet) as progress:
        prepared = prepare(job, progress)
    if not quiet:
        write_out(printable_lines(prepared.describe()))
    return ExitCode.PASSES


def run_and_write(
    job_path: Path,
    output: Path | None,
    *,
    as_json: bool,
    quiet: bool,
    ways: Ways | None = None,
    keep: Keeping | None = None,
    under: tuple[str, ...] = (),
    explain: bool = False,
) -> int:
    """Verify a job, write its result folder, and print what the user asked for."""
    from accuracy.cli.editions import explained, with_editions
    from accuracy.job import load_job
    from accuracy.pipeline import verify
    from accuracy.reports import render_all
    from accuracy.reports.folder import check_replaceable, recover, result_folder, write_folder

    job = with_editions(load_job(job_path), under)
    evidence: dict[str, Evidence] = {}
    target = result_folder(output or job_path.with_name(f"{job_path.stem}.accuracy"))
    recovered = recover(target)
    check_replaceable(target)
    ways, keep = ways or Ways(), keep or Keeping()
    keep.check(target)
    with Progress(quiet=quiet) as progress, ways.reading(target) as reading:
        if recovered:
            progress(recovered)
        result = verify(job, progress, reading, evidence)
        files = render_all(result)
        write_folder(target, files)
        recorded = keep.keep(result, files["result.json"], target)
    if as_json:
        write_out(files["result.json"].decode("utf-8"))
    elif not quiet:
        from accuracy.cli.colour import with_colour
        from accuracy.reports.words import printable_lines

        write_out(with_colour(files["summary.txt"].decode("utf-8")))
        for text in explained(job, evidence) if explain else ():
            write_out("\n" + with_colour(printable_lines(text)))
        write_out(f"\nwritten to {output or job_path.with_name(target.name)}\n")
        write_out(f"{recorded}\n" if recorded else "")
    return result.exit_code
