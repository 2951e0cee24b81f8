"""``accuracy history``: the figures of recorded verifications over time."""

from __future__ import annotations

from pathlib import Path

import click

from accuracy.cli import EXIT_CODES, say, write_out
from accuracy.cli.progress import Progress
from accuracy.errors import ExitCode

EPILOG = f"""\b
Example:
  accuracy verify site/job.toml --record
  accuracy history site --sensor "Wendle 2" --svg history.svg
  shows the recorded runs of that scanner, and draws them.
  accuracy history --rebuild results --ledger new.sqlite
  makes a ledger again from every result.json under the folder results.

{EXIT_CODES}"""


@click.command(epilog=EPILOG)
@click.argument("place", required=False, default=".", type=click.Path(path_type=Path))
@click.option("--ledger", type=click.Path(path_type=Path), help="The same as PLACE.")
@click.option("--site", help="Only runs of this site.")
@click.option("--sensor", help="Only runs of this sensor.")
@click.option(
    "--setting", "settings", multiple=True, help="Only runs with KEY or KEY=VALUE in [processing]."
)
@click.option(
    "--csv", "csv_file", type=click.Path(path_type=Path), help="Write one row for each figure."
)
@click.option(
    "--svg", "svg_file", type=click.Path(path_type=Path), help="Draw the RMSE over the runs."
)
@click.option("--json", "as_json", is_flag=True, help="Print the runs as JSON.")
@click.option(
    "--rebuild",
    "rebuilt",
    multiple=True,
    type=click.Path(path_type=Path),
    help="First record every result.json under this folder.",
)
@click.option("-q", "--quiet", is_flag=True, help="No progress, no table.")
def command(
    place: Path,
    ledger: Path | None,
    site: str | None,
    sensor: str | None,
    settings: tuple[str, ...],
    csv_file: Path | None,
    svg_file: Path | None,
    as_json: bool,
    rebuilt: tuple[Path, ...],
    quiet: bool,
) -> int:
    """Show the runs recorded in a ledger: PLACE is its file, or the folder it is in (default: here)."""
    from accuracy.history import rebuild, select, settings_of
    from accuracy.ledger import Ledger, ledger_at
    from accuracy.reports import history_views
    from accuracy.reports.folder import write_files

    path = ledger_at(ledger or place)
    if rebuilt:
        with Progress(quiet=quiet) as progress:
            count, problems = rebuild(path, rebuilt, progress)
        for problem in problems:
            say(f"left out: {problem}")
        say(f"{count} results are in {path}")
    with Ledger.open(path) as opened:
        for note in opened.notes:
            say(note)
        entries = select(opened.entries(), site=site, sensor=sensor, settings=settings)
    its = {entry.number: settings_of(entry) for entry in entries}
    if csv_file is not None:
        content = history_views.as_csv(entries, its).encode("utf-8")
        write_files(csv_file.parent, {csv_file.name: content})
    if svg_file is not None:
        from accuracy.reports.plots_history import draw

        write_files(svg_file.parent, {svg_file.name: draw(history_views.lines(entries))})
    if as_json:
        write_out(history_views.as_json(entries))
    elif not quiet:
        write_out(history_views.text(entries, its))
    return ExitCode.PASSES
