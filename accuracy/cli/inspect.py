"""``accuracy inspect``: what files say of themselves, and what looks wrong."""

from __future__ import annotations

import glob
import json
from pathlib import Path
from typing import Any

import click

from accuracy.cli import EXIT_CODES, say, write_out
from accuracy.cli.progress import Progress
from accuracy.errors import AccuracyError, ExitCode, UsageError

EPILOG = f"""\b
Example:
  accuracy inspect site/cloud/*.laz site/dem.tif site/checkpoints/site.csv
  shows header, reference system with every source of it, counts, density and
  times of each file, what looks wrong, and what that would do to a comparison.

{EXIT_CODES}"""


@click.command(epilog=EPILOG)
@click.argument("files", nargs=-1, metavar="FILE...")
@click.option("--full", is_flag=True, help="Read all points and cells of large files, too.")
@click.option("--order", help="Columns of a table without header: letters P N E Z D, as PNEZD.")
@click.option("--json", "as_json", is_flag=True, help="Print a JSON array, one object per file.")
@click.option("-q", "--quiet", is_flag=True, help="No progress.")
def command(
    files: tuple[str, ...], full: bool, order: str | None, as_json: bool, quiet: bool
) -> int:
    """Tell what a cloud, raster or table says of itself."""
    from accuracy.inspection import inspect_file
    from accuracy.inspection.record import Inspection, as_data
    from accuracy.inspection.together import side_by_side
    from accuracy.reports.inspection_text import render, render_together

    if not files:
        raise UsageError("no file given", remedy="accuracy inspect FILE...")
    done: list[Inspection] = []
    records: list[dict[str, Any]] = []
    broken = False
    for path in expanded(files):
        try:
            with Progress(quiet=quiet) as progress:
                progress(f"reading {path}")
                found = inspect_file(path, full=full, order=order, on_read=progress.points)
        except AccuracyError as error:
            say(f"error: {error}")
            records.append({"path": path.as_posix(), "kind": "unreadable", "problem": str(error)})
            broken = True
            continue
        if found.problem is not None:
            say(f"error: {path}: {found.problem}")
            broken = True
        if not as_json:
            write_out(("\n" if done else "") + render(found))
        done.append(found)
        records.append(as_data(found))
    together = side_by_side(done)
    if as_json:
        write_out(json.dumps(records, indent=1, ensure_ascii=False, allow_nan=False) + "\n")
    elif together:
        write_out("\n" + render_together(together))
    if broken:
        return ExitCode.COULD_NOT_RUN
    return ExitCode.FAILS if any(item.blocked for item in done) else ExitCode.PASSES


def expanded(files: tuple[str, ...]) -> list[Path]:
    """Expand patterns, which Windows leaves to the program; a name that exists is taken as it is.

    Folders that match a pattern are passed over.
    """
    paths: dict[Path, None] = {}
    for name in files:
        if Path(name).exists() or not glob.has_magic(name):
            paths[Path(name)] = None
            continue
        found = glob.glob(name, recursive=True)  # noqa: PTH207 (names keep the user's form)
        matches = sorted(path for path in map(Path, found) if path.is_file())
        if not matches:
            raise UsageError(
                f"no file matches {name}", remedy="check the pattern and the folder you are in"
            )
        paths.update(dict.fromkeys(matches))
    return list(paths)
