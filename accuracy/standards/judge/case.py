"""One part of a claim before the verdict, and what a rule says of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from accuracy.findings import Component as Affected
from accuracy.findings import EvidenceValue, Finding, Severity
from accuracy.standards.judge.records import Check, Evidence
from accuracy.standards.library import Measure, Part, Standard
from accuracy.stats import Component, Group

COMPONENT: Mapping[Part, Component] = MappingProxyType(
    {"vertical": "up", "horizontal": "horizontal", "3d": "3d"}
)
AXES: Mapping[Component, tuple[Component, ...]] = MappingProxyType(
    {
        "east": ("east",),
        "north": ("north",),
        "up": ("up",),
        "horizontal": ("east", "north"),
        "3d": ("east", "north", "up"),
    }
)
AFFECTED: Mapping[Part, Affected] = MappingProxyType(
    {"vertical": "vertical", "horizontal": "horizontal", "3d": "all"}
)


@dataclass(frozen=True)
class Told:
    """What a rule says: a finding, a reason that takes the statement away, or both."""

    finding: Finding | None
    reason: str | None = None


@dataclass(frozen=True, eq=False)
class Case:
    """One part of a claim before the verdict; `measures` are those of the part, `checks` by their ids."""

    standard: Standard
    claimed: Mapping[str, float | int | str | bool]
    evidence: Evidence
    part: Part
    measures: tuple[Measure, ...]
    checks: Mapping[str, Check]

    def group(self, measure: Measure) -> Group:
        """Give the points that a measure is of."""
        return self.evidence.group(measure.component, measure.cover)

    def limited(self) -> list[tuple[Measure, Check, float]]:
        """Give the measures to which the claim gives a limit."""
        found = ((m, self.checks[m.id]) for m in self.measures)
        return [(m, check, check.limit) for m, check in found if check.limit is not None]

    def tell(
        self,
        code: str,
        message: str,
        evidence: Mapping[str, EvidenceValue],
        remedy: str,
        *,
        reason: str | None = None,
        severity: Severity = Severity.WARNING,
    ) -> Told:
        """Make a finding of this claim; blocking only where every claim on the dataset is meant."""
        finding = Finding(
            code=code,
            severity=severity,
            message=f"{self.standard.id}, {self.part}: {message}",
            dataset=self.evidence.dataset,
            component=AFFECTED[self.part],
            evidence=MappingProxyType({"standard": self.standard.id, **evidence}),
            remedy=remedy,
        )
        return Told(finding, reason)
