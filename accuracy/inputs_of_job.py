"""The files that a job reads, with their hashes."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from accuracy.findings import Finding, Severity
from accuracy.preparation import Prepared
from accuracy.provenance import Hashing
from accuracy.result import InputFile

#: Role and format of the base's files by the key that names them.
BASE_FILES = {
    "observation": ("base-observation", "RINEX"),
    "antex": ("base-antex", "ANTEX"),
    "site_log": ("base-site-log", "IGS site log"),
}


def inputs_of_job(prepared: Prepared, hashing: Hashing) -> tuple[InputFile, ...]:
    """List every file that a job reads: its role, size, hash and what it says about coordinates."""
    job = prepared.job

    def entry(path: Path, written: str, role: Any, kind: str, **more: Any) -> InputFile:
        size = path.stat().st_size
        more = {"dataset": None} | more
        return InputFile(
            path=written, role=role, format=kind, bytes=size, sha256=hashing.of(path), **more
        )

    table = job.checkpoints.located
    found = [
        entry(job.path, job.path.name, "job", "TOML"),
        entry(table.path, table.written, "checkpoints", "table", reference=prepared.surveyed),
    ]
    for dataset, item in zip(job.dataset, prepared.deliverables, strict=True):
        for located, file in zip(dataset.located, item.files, strict=True):
            evidence = file.surface.info.crs_evidence if file.surface else ()
            found.append(
                entry(
                    file.path,
                    located.written,
                    "deliverable",
                    file.format,
                    dataset=dataset.name,
                    crs_evidence=evidence,
                    reference=file.reference,
                )
            )
    if job.local_grid is not None and job.local_grid.located is not None:
        pairs = job.local_grid.located
        found.append(entry(pairs.path, pairs.written, "local-grid", "table"))
    if job.base is not None:
        for key, of_base in job.base.located.items():
            role, kind = BASE_FILES[key]
            found.append(entry(of_base.path, of_base.written, role, kind))
    if job.trajectory is not None:
        flown = job.trajectory.located
        found.append(entry(flown.path, flown.written, "trajectory", "table"))
    if job.processing_file is not None:
        settings = job.processing_file
        found.append(entry(settings.path, settings.written, "processing", "settings"))
    if job.area is not None:
        outline = job.area.located
        found.append(entry(outline.path, outline.written, "area", "outline"))
    for name, standard in prepared.standards.items():
        if standard.client_file:
            found.append(entry(job.folder / name, standard.client_file, "standard", "TOML"))
    return tuple(found)


def same_file(inputs: tuple[InputFile, ...]) -> list[Finding]:
    """Block what is tested with itself: a deliverable that is the table of checkpoints, byte for byte."""
    table = next(item for item in inputs if item.role == "checkpoints")
    return [
        Finding(
            "file-is-checkpoint-table",
            Severity.BLOCKING,
            f"{item.path} is the table of checkpoints itself, byte for byte, so nothing is tested",
            dataset=item.dataset,
            evidence={"sha256": item.sha256},
            remedy="name the table of positions that were measured in the deliverable",
        )
        for item in inputs
        if item.role == "deliverable" and item.sha256 == table.sha256
    ]
