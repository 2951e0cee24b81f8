"""What ``--under`` and ``--explain`` of ``accuracy verify`` add to a job and to the screen."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

from accuracy.errors import UsageError

if TYPE_CHECKING:
    from accuracy.job import Job
    from accuracy.job.sections import Claim, Dataset
    from accuracy.standards.judge import Evidence
    from accuracy.standards.library import Standard

Keys = dict[str, float | int | str | bool]


def split(options: tuple[str, ...], option: str = "--under") -> list[tuple[str, dict[str, str]]]:
    """Split ``ID`` and ``ID:key=value+key=value``, several with commas between."""
    found = []
    for entry in ",".join(options).split(","):
        found_parts = re.fullmatch(r"((?:[A-Za-z]:[\\/])?[^:]*)(:?)(.*)", entry.strip())
        name, colon, rest = found_parts.groups() if found_parts else ("", "", "")
        pairs = [pair.partition("=") for pair in rest.split("+")] if colon else []
        if not name or any(not key or not value for key, _, value in pairs):
            raise UsageError(
                f"{option} {entry!r} is not understood", remedy="give ID or ID:key=value+key=value"
            )
        found.append((name, {key.strip(): value.strip() for key, _, value in pairs}))
    return found


def with_editions(job: Job, options: tuple[str, ...]) -> Job:
    """Add a claim on every dataset for each document named; what the job claims already stays as it is.

    A document without keys of its own takes those of the same name that the job claims on the dataset. On a
    dataset of which it can say nothing, such as heights by a table of positions in plan, it claims nothing.
    """
    from accuracy.job.sections import Claim
    from accuracy.standards.library import check_claim, load_standard

    more: list[Claim] = []
    for name, given in split(options) if options else []:
        standard = load_standard(name, job.folder)
        kinds = {key.name: key.kind for key in standard.claim_keys}
        for dataset in job.dataset:
            keys: Keys = {key: value_of(value, kinds.get(key)) for key, value in given.items()}
            its = [claim for claim in job.claim if claim.dataset == dataset.name]
            if not keys:
                keys = {
                    key: value for claim in its for key, value in claim.keys.items() if key in kinds
                }
            if not keys:  # what leaves no choice
                keys = {
                    key.name: key.choices[0]
                    for key in standard.claim_keys
                    if key.required and len(key.choices) == 1
                }
            if not keys and standard.class_required:
                continue  # the tightest class tells what could be claimed
            problems = check_claim(name, keys, f"--under {name}", job.folder)
            if problems:
                wrong = "; ".join(f"{p.where}: {p.found}, {p.allowed}" for p in problems)
                raise UsageError(wrong, remedy=f"see accuracy standards {name}")
            if not _parts(standard, keys) & _measured(dataset):
                continue
            known = [
                (claim.standard, dict(claim.keys))
                for claim in (*its, *more)
                if claim.dataset == dataset.name
            ]
            if (name, keys) not in known:
                more.append(Claim(dataset=dataset.name, standard=name, **keys))
    return (
        job.with_claims(tuple(more), tuple(dict.fromkeys(n for n, _ in split(options))))
        if options
        else job
    )


def _parts(standard: Standard, keys: Keys) -> set[str]:
    """Give the parts that a claim is about, as the judge takes them."""
    limited = {
        m.part for m in standard.requirements if m.limit and m.limit.metres(keys) is not None
    }
    return set(limited or {m.part for m in (*standard.requirements, *standard.reports)})


def _measured(dataset: Dataset) -> set[str]:
    """Give the parts that a dataset can have residuals of."""
    if dataset.kind != "measured-points":
        return {"vertical"}
    from accuracy.inputs.checkpoints import read_measured_points

    tables = [read_measured_points(file.path) for file in dataset.located]
    heights = any(point.height is not None for table in tables for point in table.points)
    return {"horizontal", "vertical", "3d"} if heights else {"horizontal"}


def value_of(text: str, kind: str | None) -> float | str:
    """Read a value as its claim key wants it; text that is no number is left for the check to refuse."""
    if kind != "length":
        return text
    try:
        return float(text)
    except ValueError:
        return text


def explained(job: Job, evidence: Mapping[str, Evidence]) -> Iterator[str]:
    """Yield the steps to every figure that is claimed, dataset by dataset."""
    from accuracy.reports.explain_text import render_explained
    from accuracy.standards.library import load_standard

    for dataset, its in evidence.items():
        for claim in job.claim:
            if claim.dataset == dataset:
                standard = load_standard(claim.standard, job.folder)
                yield render_explained(standard, dict(claim.keys), its)
