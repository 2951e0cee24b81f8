"""``accuracy compare``: hold runs against each other on the same checkpoints."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from accuracy.cli import EXIT_CODES, write_out
from accuracy.cli.progress import Progress
from accuracy.errors import ExitCode, UsageError

if TYPE_CHECKING:
    from accuracy.comparison_record import Comparison

EPILOG = f"""\b
A run is a result.json, the folder that holds it, a baseline, or ledger:12.

\b
Example:
  accuracy compare old/site.accuracy new/site.accuracy
  says what changed, and whether the new result is better, worse, or neither is shown.
  accuracy compare new/site.accuracy --write-baseline baseline.json
  accuracy compare newer/site.accuracy --baseline baseline.json --junit compare.xml

{EXIT_CODES}"""


@click.command(epilog=EPILOG)
@click.argument("runs", metavar="BEFORE AFTER [RUN]...", nargs=-1)
@click.option(
    "--tolerance-m",
    type=float,
    help="Change of an RMSE, in metres, that does not matter. Default: a quarter of the claimed limit.",
)
@click.option(
    "--same-flight",
    is_flag=True,
    help="All runs are of one flight with one trajectory and base station: what all points share is the same."
    " Taken as said where all name the same trajectory in the job.",
)
@click.option(
    "--baseline", type=click.Path(path_type=Path), help="The run to hold the others against."
)
@click.option(
    "--write-baseline", type=click.Path(path_type=Path), help="Keep the last run as a baseline."
)
@click.option(
    "--ledger",
    type=click.Path(path_type=Path),
    default=Path(),
    help="Ledger, or its folder, that ledger:NUMBER refers to. Default: the current folder.",
)
@click.option("--json", "as_json", is_flag=True, help="Print the record as JSON.")
@click.option("--schema", is_flag=True, help="Print the JSON Schema of that record.")
@click.option("--junit", type=click.Path(path_type=Path), help="Write JUnit XML, too.")
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    help="Write to a file instead: .txt, .json, .html, .pdf or .svg.",
)
@click.option("-q", "--quiet", is_flag=True, help="No progress, no text; exit code and files only.")
def command(
    runs: tuple[str, ...],
    tolerance_m: float | None,
    same_flight: bool,
    baseline: Path | None,
    write_baseline: Path | None,
    ledger: Path,
    as_json: bool,
    schema: bool,
    junit: Path | None,
    output: Path | None,
    quiet: bool,
) -> int:
    """Say whether AFTER is better or worse than BEFORE, or whether no difference is shown.

    With more runs all are ranked. Only checkpoints that all runs judge are compared, pair by pair.
    """
    if schema:
        from accuracy.comparison_record import comparison_schema

        write_out(json.dumps(comparison_schema(), indent=1, ensure_ascii=False) + "\n")
        return ExitCode.PASSES
    from accuracy.reports.comparison import KINDS

    if output is not None and output.suffix.lower() not in KINDS:
        raise UsageError(
            f"{output.name} has none of the endings {', '.join(KINDS)}",
            remedy="the ending says what is written",
        )
    if baseline is not None and not baseline.exists():
        raise UsageError(
            f"there is no baseline {baseline}",
            remedy=f"make it: accuracy compare RUN --write-baseline {baseline}",
        )
    named = [*([str(baseline)] if baseline is not None else []), *runs]
    if not runs or (len(named) < 2 and write_baseline is None):
        raise UsageError(
            "two runs are needed", remedy="accuracy compare BEFORE AFTER; or RUN --baseline FILE"
        )
    from accuracy.comparison import compare, load_run
    from accuracy.comparison.baseline import write_baseline as keep
    from accuracy.ledger import ledger_at

    with Progress(quiet=quiet) as progress:
        loaded = []
        for name in named:
            progress(f"reading {name}")
            loaded.append(load_run(name, ledger_at(ledger)))
        if len(loaded) == 1:
            assert write_baseline is not None
            keep(write_baseline, loaded[0].result)
            progress(f"baseline written to {write_baseline}")
            return ExitCode.PASSES
        progress("comparing")
        comparison = compare(*loaded, tolerance_m=tolerance_m, same_flight=same_flight)
        if write_baseline is not None:
            keep(write_baseline, loaded[-1].result)
    _give(comparison, as_json=as_json, junit=junit, output=output, quiet=quiet)
    return comparison.exit_code


def _give(
    comparison: Comparison,
    *,
    as_json: bool,
    junit: Path | None,
    output: Path | None,
    quiet: bool,
) -> None:
    from accuracy.cli.colour import with_colour
    from accuracy.reports.comparison import render
    from accuracy.reports.folder import write_files
    from accuracy.reports.junit import of_comparison

    if junit is not None:
        write_files(junit.parent, {junit.name: of_comparison(comparison)})
    if output is not None:
        write_files(output.parent, {output.name: render(comparison, output.suffix.lower())})
    if as_json:
        write_out(comparison.to_json())
    elif output is None and not quiet:
        write_out(with_colour(render(comparison, ".txt").decode("utf-8")))
