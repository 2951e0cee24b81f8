"""``accuracy pick``: targets picked by hand on a page, and the table of measured points that comes of it."""

from __future__ import annotations

from pathlib import Path

import click

from accuracy.cli import EXIT_CODES, say, write_out
from accuracy.cli.progress import Progress
from accuracy.errors import ExitCode

EPILOG = f"""\b
Example:
  accuracy pick site/job.toml --orthophoto site/ortho.tif
  writes site/job.pick.html: open it in a browser, pick each target twice, save.
  accuracy pick site/job.toml --picked picks.json
  writes a table of measured points for each orthophoto and cloud beside the job,
  with the repeatability of the two passes as sigma. Ends with 0 or 2.

{EXIT_CODES}"""


@click.command(epilog=EPILOG)
@click.argument("job", type=click.Path(path_type=Path))
@click.option(
    "--orthophoto",
    "orthophotos",
    multiple=True,
    type=click.Path(path_type=Path),
    help="Georeferenced picture that shows targets. Again for more.",
)
@click.option("--no-clouds", is_flag=True, help="No pictures of the intensities of the clouds.")
@click.option(
    "--half-width-m",
    type=click.FloatRange(0.1, 50.0),
    default=1.5,
    show_default=True,
    help="Half the side of a picture, metres.",
)
@click.option(
    "--seed",
    type=click.IntRange(min=0),
    help="Decides cuts and order. Default: by chance, and not kept.",
)
@click.option(
    "--picked",
    type=click.Path(path_type=Path),
    help="File that the page saved: turn it into tables of measured points.",
)
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    help="The page; with --picked, the folder for the tables. Default: beside the job.",
)
@click.option("-q", "--quiet", is_flag=True, help="No progress, nothing printed.")
def command(
    job: Path,
    orthophotos: tuple[Path, ...],
    no_clouds: bool,
    half_width_m: float,
    seed: int | None,
    picked: Path | None,
    output: Path | None,
    quiet: bool,
) -> int:
    """Pick the targets of JOB by hand, without knowing where they were surveyed."""
    if picked is not None:
        return _tables(job, picked, output, quiet=quiet)
    from accuracy.job import load_job
    from accuracy.pick import make_scenes, pick_page
    from accuracy.preparation import prepare
    from accuracy.reports.folder import write_files

    loaded = load_job(job)
    own = [
        file.path
        for dataset in loaded.dataset
        if str(dataset.kind) == "orthophoto"
        for file in dataset.located
    ]
    target = output or job.with_name(f"{job.stem}.pick.html")
    with Progress(quiet=quiet) as progress:
        made = make_scenes(
            prepare(loaded, progress),
            [*own, *orthophotos],
            clouds=not no_clouds,
            half_width_m=half_width_m,
            seed=seed,
            progress=progress,
        )
        write_files(target.parent, {target.name: pick_page(made, loaded.job.title)})
    if made.without:
        say(f"no picture shows {', '.join(made.without)}")
    if not quiet:
        count = len({(scene.id, scene.source) for scene in made.scenes})
        write_out(f"{count} targets, each twice: open {target} in a browser\n")
    return ExitCode.PASSES


def _tables(job: Path, picked: Path, output: Path | None, *, quiet: bool) -> int:
    from accuracy.inputs.checkpoints import read_checkpoints
    from accuracy.job import load_job
    from accuracy.pick import read_picks, tables_of
    from accuracy.reports.folder import write_files

    said = load_job(job).checkpoints
    table = read_checkpoints(said.located.path, said.order, said.layer, repeats=bool(said.repeats))
    picks = read_picks(picked, [point.id for point in table.points])
    folder = output or job.parent
    for made in tables_of(picks):
        write_files(folder, {made.file: made.text.encode("utf-8")})
        if quiet:
            continue
        write_out(f"{folder / made.file}: {made.points} points of {made.source}")
        if made.sigma_m is not None:
            write_out(
                f"; one pick repeats to {made.sigma_m:.4f} m along an axis "
                f"({made.degrees_of_freedom} points picked twice)"
            )
        write_out("\n" + "".join(f"  {told}\n" for told in made.told))
    if not quiet:
        write_out('name a table as files of a [[dataset]] of kind = "measured-points"\n')
    return ExitCode.PASSES
