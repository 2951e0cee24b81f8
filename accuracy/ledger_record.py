"""What a ledger knows of one verification without reading its whole record."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from accuracy.result import Overall, Result, Verdict
from accuracy.stats import COMPONENTS, COVERS, Component, Cover


@dataclass(frozen=True)
class Tracked:
    """The figures of one component and cover that something is claimed of. Metres."""

    dataset: str
    component: Component
    cover: Cover
    n: int
    rmse_m: float | None
    mean_m: float | None
    std_m: float | None


@dataclass(frozen=True)
class Entry:
    """One verification.

    Attributes
    ----------
    number : int
        In its ledger; 0 before it is recorded.
    sha256 : str
        Of ``result.json``.
    finished : str
        UTC, ISO 8601: the order of the history.
    """

    number: int
    sha256: str
    finished: str
    title: str
    site: str | None
    sensor: str | None
    flown: str | None
    processing: Mapping[str, Any]
    tool_version: str
    verdict: Overall
    claims: tuple[tuple[str, str, Verdict], ...]
    figures: tuple[Tracked, ...]


def entry_of(result: Result, sha256: str, number: int = 0) -> Entry:
    """Take from a result what a history shows."""
    about: Mapping[str, Any] = result.job.get("job", {})
    return Entry(
        number=number,
        sha256=sha256,
        finished=result.run.finished,
        title=str(about.get("title", "")),
        site=about.get("site"),
        sensor=about.get("sensor"),
        flown=about.get("flown"),
        processing=result.job.get("processing", {}),
        tool_version=result.run.tool_version,
        verdict=result.verdict,
        claims=tuple(
            (dataset.name, claim.standard, claim.verdict)
            for dataset in result.datasets
            for claim in dataset.claims
        ),
        figures=tuple(_figures(result)),
    )


def _figures(result: Result) -> Iterator[Tracked]:
    for dataset in result.datasets:
        checks = [check for claim in dataset.claims for check in claim.checks]
        figures = {
            (figure.component, figure.cover, figure.statistic): figure
            for figure in dataset.figures
            if not figure.survey_error_included
        }

        def value(component: Component, cover: Cover, name: str, figures: Any = figures) -> Any:
            figure = figures.get((component, cover, name))
            return figure.value if figure is not None else None

        for component in COMPONENTS:
            for cover in COVERS:
                if any((c.component, c.cover) == (component, cover) for c in checks):
                    counted = figures.get((component, cover, "n"))
                    yield Tracked(
                        dataset=dataset.name,
                        component=component,
                        cover=cover,
                        n=0 if counted is None else counted.n,
                        rmse_m=value(component, cover, "rmse"),
                        mean_m=value(component, cover, "mean"),
                        std_m=value(component, cover, "std"),
                    )
