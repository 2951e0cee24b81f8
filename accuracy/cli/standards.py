"""``accuracy standards``: the documents that claims can cite, and what each says."""

from __future__ import annotations

import json

import click

from accuracy.cli import EXIT_CODES, write_out
from accuracy.errors import ExitCode

EPILOG = f"""\b
Example:
  accuracy standards
  lists the documents, and how many of their numbers were read.
  accuracy standards asprs-2024
  every rule with its place in the document, and its worked examples computed
  anew; ends with 1 if one does not come out.

{EXIT_CODES}"""


@click.command(epilog=EPILOG)
@click.argument("name", metavar="ID", required=False)
@click.option("--json", "as_json", is_flag=True, help="Print the same as JSON.")
def command(name: str | None, as_json: bool) -> int:
    """List the standards, or explain one: ID, or the path of a client's own TOML file."""
    from accuracy.reports.standards_text import render_list, render_one, standard_data
    from accuracy.reports.words import printable_lines
    from accuracy.standards.judge.examples import recompute
    from accuracy.standards.library import list_standards, load_standard

    if name is None:
        its = list_standards()
        if as_json:
            record = [standard_data(standard, full=False) for standard in its]
            write_out(json.dumps(record, indent=1, ensure_ascii=False) + "\n")
        else:
            write_out(render_list(its))
        return ExitCode.PASSES
    standard = load_standard(name)
    if as_json:
        record_one = standard_data(standard, full=True)
        write_out(json.dumps(record_one, indent=1, ensure_ascii=False) + "\n")
    else:
        write_out(printable_lines(render_one(standard)))
    agree = all(done.agrees for done in recompute(standard))
    return ExitCode.PASSES if agree else ExitCode.FAILS
