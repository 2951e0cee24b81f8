"""The diagnosis of a finished result: from its record alone, so that it can be made again at any time."""

from __future__ import annotations

import dataclasses
import hashlib
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from accuracy.findings import Finding
from accuracy.georeferencing.grids import GridShelf
from accuracy.georeferencing.record import Reference
from accuracy.residuals import ResidualRow
from accuracy.result import DatasetResult, Result, plain
from accuracy.standards.judge import Evidence

if TYPE_CHECKING:
    from accuracy.diagnosis.candidates.context import Context
    from accuracy.standards.library import Standard

#: Gives a standard by what the job calls it; None where it is not at hand.
StandardOf = Mapping[str, "Standard"]


def with_diagnosis(result: Result, shelf: GridShelf, standards: StandardOf) -> Result:
    """Give the result with a diagnosis of each of its datasets. Nothing else changes; nothing is corrected.

    Parameters
    ----------
    shelf : GridShelf
        Only grids on it are read.
    standards : mapping
        Standards of the claims, by the name that the job has for them.
    """
    return dataclasses.replace(
        result,
        diagnosis={
            dataset.name: plain(diagnosis_of(result, dataset, shelf, standards))
            for dataset in result.datasets
        },
    )


def diagnosis_of(
    result: Result, dataset: DatasetResult, shelf: GridShelf, standards: StandardOf
) -> dict[str, Any]:
    """Diagnose one dataset; the record for ``result.json``."""
    from accuracy.diagnosis import diagnose
    from accuracy.diagnosis.data import diagnosis_data
    from accuracy.diagnosis.what_if import what_if

    measured: Mapping[str, Any] = result.targets.get("measured") or {}
    found = diagnose(
        dataset.residuals,
        context_of(result, dataset, shelf),
        trajectory=result.trajectory,
        targets=measured.get(dataset.name) or (),
    )
    if found.conclusion == "named" and found.sightings is not None:
        evidence = evidence_of(result, dataset)
        claims = [
            (standards[name], claim.claimed) if name in standards else None
            for name, claim in zip(_standard_names(result, dataset), dataset.claims, strict=True)
        ]
        supposed = what_if(found.listed[0], found.sightings, evidence, claims)
        found = dataclasses.replace(found, what_if=supposed)
    return diagnosis_data(found)


def _standard_names(result: Result, dataset: DatasetResult) -> list[str]:
    """Give what the job calls the standard of each claim."""
    names = [str(c.get("standard")) for c in result.claimed if c.get("dataset") == dataset.name]
    return names if len(names) == len(dataset.claims) else [c.standard for c in dataset.claims]


def context_of(result: Result, dataset: DatasetResult, shelf: GridShelf) -> Context:
    """Gather what is known besides the residuals."""
    from accuracy.diagnosis.candidates.context import Context

    reference = next((i.reference for i in result.inputs if i.dataset == dataset.name), None)
    surveyed = next((i.reference for i in result.inputs if i.role == "checkpoints"), None)
    used = [row for row in dataset.residuals if row.used]
    year = _flown_year(result.job)
    return Context(
        kind=dataset.kind,
        reference=_dated(reference, year),
        surveyed=_dated(surveyed, year),
        at=_middle(used, ("easting", "northing", "height")),
        given_at=_middle(used, ("given_easting", "given_northing", "given_height")),
        reach_m=_reach_m(used),
        shelf=shelf,
        base=result.base,
        job_base=result.job.get("base") or {},
    )


def _flown_year(job: Mapping[str, Any]) -> float | None:
    from datetime import date

    try:
        flown = date.fromisoformat(str((job.get("job") or {}).get("flown")))
    except ValueError:
        return None
    return round(flown.year + (flown.timetuple().tm_yday - 1) / 365.25, 2)


def _dated(reference: Reference | None, year: float | None) -> Reference | None:
    """Take the date of the flight for an epoch that is not stated: mistakes of frame depend on it."""
    if reference is None or reference.epoch_year is not None or year is None:
        return reference
    return dataclasses.replace(reference, epoch_year=year)


def _middle(
    rows: list[ResidualRow], names: tuple[str, str, str]
) -> tuple[float, float, float] | None:
    found = []
    for name in names:
        values = [v for row in rows if (v := row.native.get(name)) is not None]
        if not values:
            return None
        found.append(float(np.median(values)))
    return found[0], found[1], found[2]


def _reach_m(rows: list[ResidualRow]) -> float:
    places = [(row.surveyed.east_m, row.surveyed.north_m) for row in rows]
    known = np.array([place for place in places if None not in place], dtype=np.float64)
    if not known.size:
        return 100.0
    return max(50.0, float(np.hypot(*(known - np.median(known, axis=0)).T).max()))


def evidence_of(result: Result, dataset: DatasetResult) -> Evidence:
    """Give what the judge was given, from the record."""
    used = [row for row in dataset.residuals if row.used]
    job_dataset: Mapping[str, Any] = next(
        (d for d in result.job.get("dataset") or () if d.get("name") == dataset.name), {}
    )
    checkpoints: Mapping[str, Any] = result.job.get("checkpoints") or {}

    def column(values: list[float | None]) -> np.ndarray[Any, np.dtype[np.float64]]:
        return np.array([np.nan if value is None else value for value in values], dtype=np.float64)

    def axis(name: str) -> np.ndarray[Any, np.dtype[np.float64]]:
        return column([getattr(row.residual, name) if row.residual else None for row in used])

    def blocked(component: Literal["horizontal", "vertical"]) -> tuple[str, ...]:
        found: list[Finding] = [f for f in result.findings if f.blocks(dataset.name, component)]
        return tuple(finding.message for finding in found)

    return Evidence(
        dataset=dataset.name,
        kind=dataset.kind,
        ids=tuple(row.id for row in used),
        east_m=axis("east_m"),
        north_m=axis("north_m"),
        up_m=axis("up_m"),
        vegetated=np.array([row.cover == "vegetated" for row in used], dtype=np.bool_),
        survey_rmse_h_m=column([row.survey_rmse_h_m for row in used]),
        survey_rmse_v_m=column([row.survey_rmse_v_m for row in used]),
        survey_method=checkpoints.get("survey_method"),
        adjusted_to_points=bool(job_dataset.get("adjusted_to_points")),
        blocked_horizontal=blocked("horizontal"),
        blocked_vertical=blocked("vertical"),
    )


def standards_of(result: Result, folder: Path | None) -> dict[str, Standard]:
    """Load the standards of the claims: packaged ones, and a client's file while it is the one judged by."""
    from accuracy.errors import AccuracyError
    from accuracy.standards.library import load_standard

    judged_by = {item.sha256 for item in result.inputs if item.role == "standard"}
    found: dict[str, Standard] = {}
    for claim in result.claimed:
        name = str(claim.get("standard"))
        try:
            if name.lower().endswith(".toml"):
                content = ((folder or Path()) / name).read_bytes()
                if hashlib.sha256(content).hexdigest() not in judged_by:
                    continue
            found[name] = load_standard(name, folder)
        except (AccuracyError, OSError):
            continue  # the what-if says that it has no verdict
    return found


def shelf_of(result: Result, folder: Path | None) -> GridShelf:
    """Give the folders of grids that the job names, where the job is still there."""
    grids: Mapping[str, Any] = result.job.get("grids") or {}
    named = grids.get("folder") or ()
    named = [named] if isinstance(named, str) else list(named)
    if folder is None or not named:
        return GridShelf()
    return GridShelf(tuple(folder / name for name in named), dict(grids.get("geoid_files") or {}))


def job_folder(result: Result) -> Path | None:
    """Give the folder of the job, while the job is there."""
    job = next((item.path for item in result.inputs if item.role == "job"), None)
    where = result.run.paths.get(job or "")
    path = None if where is None else Path(where)
    return path.parent if path is not None and path.is_file() else None
