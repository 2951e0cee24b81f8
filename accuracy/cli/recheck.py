"""``accuracy recheck``: is a result untouched, and are the delivered files those that were tested."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import TYPE_CHECKING

import click

from accuracy.cli import EXIT_CODES, write_out
from accuracy.cli.progress import Progress

if TYPE_CHECKING:
    from accuracy.recheck import Recheck

EPILOG = f"""\b
Example:
  accuracy recheck site/job.accuracy --files handover
  compares every file in handover with the hashes in the record, the record with
  its own digest, and computes its figures and verdicts again from the residuals.
  Ends with 0 where all holds, 1 where something does not, 2 where the record
  cannot be read.

A digest shows that nothing was changed by accident or by halves. Only a signature
shows who vouches for it: accuracy sign, and --key here.

{EXIT_CODES}"""


@click.command(epilog=EPILOG)
@click.argument("result", type=click.Path(path_type=Path))
@click.option(
    "--files",
    type=click.Path(path_type=Path),
    help="Folder of the delivered files. Default: the one that holds the folder of the result.",
)
@click.option(
    "--key",
    type=click.Path(path_type=Path),
    help="Public key (PEM, Ed25519) of the one who must have signed the result.",
)
@click.option("--json", "as_json", is_flag=True, help="Print what was found as JSON.")
@click.option("-q", "--quiet", is_flag=True, help="Print nothing; exit code only.")
def command(result: Path, files: Path | None, key: Path | None, as_json: bool, quiet: bool) -> int:
    """Recheck RESULT: a result.json, or the folder that accuracy verify wrote."""
    from accuracy.recheck import recheck
    from accuracy.reports.folder import MARK
    from accuracy.reports.words import printable_lines

    path = result / MARK if result.is_dir() else result
    with Progress(quiet=quiet) as progress:
        found = recheck(path, files, key, progress)
    if as_json:
        write_out(found.to_json())
    elif not quiet:
        write_out(printable_lines(_text(found)))
    return found.exit_code


def _text(found: Recheck) -> str:
    counts: dict[str, int] = {}
    for file in found.files:
        counts[file.state] = counts.get(file.state, 0) + 1
    codes = {finding.code for finding in found.findings}

    def holds(code: str, well: str, ill: str) -> str:
        return ill if code in codes else well

    told = ", ".join(f"{count} {state}" for state, count in counts.items())
    lines = [
        "SOUND" if found.sound else "NOT SOUND",
        "",
        f"  record    {holds('recheck-digest', 'as it was written', 'see below')}; SHA-256 {found.digest}",
        f"  signature {found.signed or holds('recheck-signature', 'none', 'see below')}",
        f"  files     {told or 'none'}",
        f"  figures   {found.figures} computed again, {holds('recheck-figures', 'all the same', 'see below')}",
        f"  claims    {found.claims} judged again, {holds('recheck-verdict', 'all the same', 'see below')}",
        "",
    ]
    for finding in found.findings:
        about = f"{finding.dataset}: " if finding.dataset else ""
        lines.append(
            textwrap.fill(
                f"{about}{finding.message} [{finding.code}]",
                96,
                initial_indent=f"  {finding.severity.value:<9} ",
                subsequent_indent=" " * 12,
                break_long_words=False,
                break_on_hyphens=False,
            )
        )
        if finding.remedy:
            lines.append(f"            -> {finding.remedy}")
    return "\n".join(lines).rstrip() + "\n"
