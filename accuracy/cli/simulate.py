"""``accuracy simulate``: an invented flight with known faults, as a folder."""

from __future__ import annotations

from pathlib import Path

import click

from accuracy.cli import EXIT_CODES, write_out
from accuracy.cli.progress import Progress
from accuracy.errors import ExitCode, UsageError

EPILOG = f"""\b
Example:
  accuracy simulate site --scenario hills --fault boresight-roll=0.02deg --seed 3
  accuracy verify site/job.toml
  flies the scenario hills with the scanner rolled by 0.02 degrees; truth.json tells
  the true answers.
  accuracy simulate --list explains every scenario and every fault.

{EXIT_CODES}"""


@click.command(epilog=EPILOG)
@click.argument("folder", required=False, type=click.Path(path_type=Path))
@click.option("--scenario", "name", default="flat", show_default=True, help="What is flown.")
@click.option(
    "--fault",
    "faults",
    multiple=True,
    metavar="NAME=SIZE",
    help="A fault to put in, with its size and unit: base-slant=44mm. May be given several times.",
)
@click.option("--seed", default=1, show_default=True, help="Seed of the random errors.")
@click.option(
    "--cloud",
    type=click.Choice(["laz", "las", "las-1.2"]),
    default="laz",
    show_default=True,
    help="How the cloud is written; laz and las are version 1.4.",
)
@click.option("--list", "listed", is_flag=True, help="Explain scenarios and faults, and stop.")
@click.option("-q", "--quiet", is_flag=True, help="No progress.")
def command(
    folder: Path | None,
    name: str,
    faults: tuple[str, ...],
    seed: int,
    cloud: str,
    listed: bool,
    quiet: bool,
) -> int:
    """Write an invented flight with known faults into the new folder FOLDER.

    Cloud, elevation raster, trajectory, base, survey and a job file that accuracy verify runs; truth.json
    tells what was put in. Place, people and firm are invented.
    """
    if listed:
        from accuracy.simulation.listing import listing

        write_out(listing())
        return ExitCode.PASSES
    if folder is None:
        raise UsageError(
            "no folder is named", remedy="accuracy simulate FOLDER, or accuracy simulate --list"
        )
    from accuracy.simulation.faults import FAULTS, parse_fault
    from accuracy.simulation.folder import write_scenario
    from accuracy.simulation.listing import size_text

    sizes: dict[str, float] = {}
    for text in faults:
        fault, size = parse_fault(text)
        if fault in sizes:
            raise UsageError(f"the fault {fault} is given twice", remedy="give it once")
        sizes[fault] = size
    with Progress(quiet=quiet) as progress:
        made = write_scenario(folder, name, sizes, seed, cloud=cloud, progress=progress)
    write_out(f"Simulated: scenario {name}, seed {seed}; place, people and firm are invented.\n\n")
    if not sizes:
        write_out("No fault was put in.\n")
    for fault, size in sizes.items():
        write_out(f"Put in: {fault} = {size_text(fault, size)}\n  {FAULTS[fault].what}\n")
    write_out(f"\nMade in {folder}:\n")
    for path, meaning in made.files:
        write_out(f"  {path.relative_to(made.folder).as_posix():<18} {meaning}\n")
    write_out(f"\nNow: accuracy verify {(folder / 'job.toml').as_posix()}\n")
    return ExitCode.PASSES
