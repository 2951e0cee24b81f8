"""``accuracy datum``: one point's way through the reference systems of a job, to check by hand."""

from __future__ import annotations

import json
from pathlib import Path

import click

from accuracy.cli import EXIT_CODES, write_out
from accuracy.cli.progress import Progress
from accuracy.errors import ExitCode, UsageError

EPILOG = f"""\b
Example:
  accuracy datum site/job.toml --point CP01
  shows both sides, the coordinates of CP01 after every step to each dataset,
  and how far a wrong foot, geoid model, frame, epoch, zone would put it there.
  accuracy datum --self-test
  computes published coordinates anew; ends with 1 if one does not come out.

{EXIT_CODES}"""


@click.command(epilog=EPILOG)
@click.argument("job", required=False, type=click.Path(path_type=Path))
@click.option("--point", help="Id of the checkpoint to follow; the first judged one by default.")
@click.option("--dataset", help="Name of the one dataset to show.")
@click.option("--self-test", "testing", is_flag=True, help="Compute published coordinates anew.")
@click.option("--json", "as_json", is_flag=True, help="Print the same as JSON.")
@click.option("-q", "--quiet", is_flag=True, help="No progress.")
def command(
    job: Path | None,
    point: str | None,
    dataset: str | None,
    testing: bool,
    as_json: bool,
    quiet: bool,
) -> int:
    """Show how checkpoints of JOB get to each dataset, and what the usual mistakes would do."""
    if testing:
        if job is not None or point is not None or dataset is not None:
            raise UsageError("--self-test stands alone", remedy="accuracy datum --self-test")
        return _self_test(as_json=as_json)
    if job is None:
        raise UsageError(
            "no job file given", remedy="accuracy datum JOB; or accuracy datum --self-test"
        )
    return _job(job, point, dataset, as_json=as_json, quiet=quiet)


def _job(path: Path, point: str | None, dataset: str | None, *, as_json: bool, quiet: bool) -> int:
    from accuracy.deliverables import Survey
    from accuracy.georeferencing.datum import datum_data, look
    from accuracy.georeferencing.grids import GridShelf
    from accuracy.georeferencing.library import epsg_version, proj_version
    from accuracy.georeferencing.walkthrough import foreign_environment
    from accuracy.job import load_job
    from accuracy.preparation import prepare
    from accuracy.provenance import library_versions
    from accuracy.reports.datum_text import render, render_versions

    job = load_job(path)
    names = [item.name for item in job.dataset]
    if dataset is not None and dataset not in names:
        raise UsageError(
            f"there is no dataset {dataset!r} in {path}", remedy=f"name one of {', '.join(names)}"
        )
    with Progress(quiet=quiet) as progress:
        prepared = prepare(job, progress)
    shelf = GridShelf(job.grids.folders(job.folder), job.grids.geoid_files)
    places = Survey(prepared.surveyed, prepared.table.points, prepared.roles, shelf).places
    shown = [
        look(
            item.plan,
            item.setting.name,
            [file.written for file in declared.located],
            prepared.findings,
            places=places,
            point_id=point,
            shelf=shelf,
        )
        for declared, item in zip(job.dataset, prepared.deliverables, strict=True)
        if dataset in (None, declared.name)
    ]
    libraries = library_versions()
    versions = {"PROJ": proj_version(), "EPSG dataset": epsg_version()} | {
        name: libraries[name] for name in ("pyproj", "rasterio", "numpy")
    }
    foreign = foreign_environment()
    if as_json:
        record = {
            "datasets": [datum_data(item) for item in shown],
            "versions": versions,
            "foreign_environment": foreign,
        }
        write_out(json.dumps(record, indent=1, ensure_ascii=False, allow_nan=False) + "\n")
    else:
        write_out("\n".join([*map(render, shown), render_versions(versions, foreign)]))
    return ExitCode.FAILS if any(item.blocked for item in shown) else ExitCode.PASSES


def _self_test(*, as_json: bool) -> int:
    from accuracy.georeferencing.self_test import self_test, self_test_data
    from accuracy.reports.datum_text import render_self_test

    test = self_test()
    if as_json:
        record = self_test_data(test)
        write_out(json.dumps(record, indent=1, ensure_ascii=False, allow_nan=False) + "\n")
    else:
        write_out(render_self_test(test))
    return ExitCode.PASSES if test.agrees else ExitCode.FAILS
