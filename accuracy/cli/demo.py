"""``accuracy demo``: build an invented scenario and verify it."""

from __future__ import annotations

from pathlib import Path

import click

from accuracy.cli import EXIT_CODES, write_out
from accuracy.cli.progress import Progress
from accuracy.errors import ExitCode

EPILOG = f"""\b
Example:
  accuracy demo site
  builds an invented site in the folder site, verifies it, and shows what it did.
  Its exit code is 0 when the demo ran: one claim is meant to fail.

{EXIT_CODES}"""


@click.command(epilog=EPILOG)
@click.argument("folder", required=False, default="accuracy-demo", type=click.Path(path_type=Path))
@click.option("--seed", default=7, show_default=True, help="Seed of the random errors.")
@click.option("-q", "--quiet", is_flag=True, help="No progress.")
def command(folder: Path, seed: int, quiet: bool) -> int:
    """Build an invented flight in FOLDER (default accuracy-demo) and verify it.

    Place, people and firm are invented; terrain and errors are simulated, so the truth is known.
    """
    from accuracy.cli.verify import run_and_write
    from accuracy.simulation.demo import build_demo

    with Progress(quiet=quiet) as progress:
        progress(f"building an invented flight in {folder}")
        demo = build_demo(folder, seed=seed)
    write_out("Invented demo: place, firm and people do not exist; the errors are simulated.\n\n")
    write_out(f"Made in {folder}:\n")
    for path, meaning in demo.files:
        write_out(f"  {path.relative_to(folder).as_posix():<26} {meaning}\n")
    write_out(f"\nThe job file {demo.job.name} says what is claimed:\n\n")
    for line in demo.job.read_text("utf-8").splitlines():
        write_out(f"  | {line}\n")
    write_out(f"\n$ accuracy verify {demo.job.as_posix()}\n\n")
    code = run_and_write(demo.job, None, as_json=False, quiet=quiet)
    write_out(f"\naccuracy verify would end with exit code {code} here.\n")
    return ExitCode.PASSES
