"""What ``--under`` and ``--explain`` of ``accuracy verify`` add to a job and to the screen."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

from accuracy.errors import UsageError

if TYPE_CHECKING:
    from accuracy.job import Job
    from accuracy.job.sections import Claim
    from accuracy.standards.judge import Evidence

Keys = dict[str, float | int | str | bool]


def split(options: tuple[str, ...], option: str = "--under") -> list[tuple[str, dict[str, str]]]:
    """Split ``ID`` and ``ID:key=value+key=value``, several with commas between."""
    found = []
    for entry in ",".join(options).split(","):
        name, colon, rest = entry.strip().partition(":")
        pairs = [pair.partition("=") for pair in rest.split("+")] if colon else []
        if not name or any(not key or not value for key, _, value in pairs):
            raise UsageError(
                f"{option} {entry!r} is not understood", remedy="give ID or ID:key=value+key=value"
            )
        found.append((name, {key.strip(): value.strip() for key, _, value in pairs}))
    return found


def with_editions(job: Job, options: tuple[str, ...]) -> Job:
    """Add a claim on every dataset for each document named; what the job claims already stays as it is.

    A document without keys of its own takes those of the same name that the job claims on the dataset.
    """
    from accuracy.job.sections import Claim
    from accuracy.standards.library import check_claim, load_standard

    more: list[Claim] = []
    for name, given in split(options) if options else []:
        standard = load_standard(name)
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
            problems = check_claim(name, keys, f"--under {name}")
            if problems:
                wrong = "; ".join(f"{p.where}: {p.found}, {p.allowed}" for p in problems)
                raise UsageError(wrong, remedy=f"see accuracy standards {name}")
            known = [(claim.standard, dict(claim.keys)) for claim in (*its, *more)
                     if claim.dataset == dataset.name]  # fmt: skip
            if (name, keys) not in known:
                more.append(Claim(dataset=dataset.name, standard=name, **keys))
    return job.model_copy(update={"claim": (*job.claim, *more)})


def value_of(text: str, kind: str | None) -> float | str:
    """Read a value as its claim key wants it; text that is no number is left for the check to refuse."""
    if kind != "length":
        return text
    try:
        return float(text)
    except ValueError:
        return text


def tell(
    job: Job, evidence: Mapping[str, Evidence], under: tuple[str, ...], *, explain: bool
) -> Iterator[str]:
    """Yield what is shown after the summary, dataset by dataset."""
    from accuracy.reports.editions_text import render_side_by_side, render_tightest, rows
    from accuracy.reports.explain_text import render_explained
    from accuracy.standards.library import load_standard

    for dataset, its in evidence.items():
        claims = [
            (load_standard(claim.standard, job.folder), dict(claim.keys))
            for claim in job.claim
            if claim.dataset == dataset
        ]
        if under:
            table = rows(claims, its)
            if table:
                yield render_side_by_side(dataset, table)
            named = {name: load_standard(name) for name, _ in split(under)}
            standards = {standard.id: standard for standard, _ in claims} | named
            yield render_tightest(dataset, list(standards.values()), its)
        if explain:
            for standard, keys in claims:
                yield render_explained(standard, keys, its)
