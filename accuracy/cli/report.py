"""``accuracy report``: make any view of a finished result again, from its record alone."""

from __future__ import annotations

from pathlib import Path

import click

from accuracy.cli import EXIT_CODES, write_out
from accuracy.cli.progress import Progress
from accuracy.errors import ExitCode, UsageError
from accuracy.reports import EXPORTS, REPORT, kinds

_LIST = "\n".join(f"  {e.kind:<11}{name:<20}{e.what}" for name, e in EXPORTS.items())

EPILOG = f"""\b
Kinds of view:
{_LIST}

\b
Example:
  accuracy report site/job.accuracy --as pdf,plots -o handover
  writes handover/report.pdf and the folder handover/plots. Nothing is computed
  anew: deliverable and checkpoints are not needed. Ends with 0 or 2.

{EXIT_CODES}"""


@click.command(epilog=EPILOG)
@click.argument("result", metavar="RESULT", required=False, type=click.Path(path_type=Path))
@click.option(
    "--as",
    "wanted",
    default=",".join(REPORT),
    show_default=True,
    metavar="KIND,...",
    help="Views to make, separated by commas; all makes every one.",
)
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    help="Folder to write to; by default that of the result. Files of the same name are replaced.",
)
@click.option("-q", "--quiet", is_flag=True, help="No progress, no list of what was written.")
def command(result: Path | None, wanted: str, output: Path | None, quiet: bool) -> int:
    """Make views of RESULT: a result.json, or the folder that accuracy verify wrote."""
    if result is None:
        raise UsageError("no result given", remedy="accuracy report RESULT --as html,pdf")
    asked = asked_kinds(wanted)
    from accuracy.reports import render_kinds
    from accuracy.reports.folder import MARK, write_files
    from accuracy.result import read_result

    path = result / MARK if result.is_dir() else result
    target = output or path.parent
    with Progress(quiet=quiet) as progress:
        progress(f"reading {path}")
        record = read_result(path)
        files: dict[str, bytes] = {}
        for kind in asked:
            progress(f"making {kind}")
            files |= render_kinds(record, [kind])
        write_files(target, files)
    if not quiet:
        for name in files:
            write_out(f"{target / name}\n")
    return ExitCode.PASSES


def asked_kinds(text: str) -> tuple[str, ...]:
    """Read the list of views that a user wrote, in the order of `EXPORTS`.

    Raises
    ------
    UsageError
        A word that asks for no view, or none at all.
    """
    words = {word.strip().lower() for word in text.split(",") if word.strip()}
    unknown = sorted(words - {*kinds(), "all"})
    remedy = f"choose from {', '.join(kinds())}, or all"
    if unknown:
        raise UsageError(f"there is no view called {', '.join(map(repr, unknown))}", remedy=remedy)
    if not words:
        raise UsageError("no view is asked for", remedy=remedy)
    return tuple(kind for kind in kinds() if kind in words or "all" in words)
