"""What looks wrong, and what it would do to a comparison with checkpoints."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from types import MappingProxyType
from typing import Any, Literal

from accuracy.findings import Component, Finding, Severity
from accuracy.inspection.record import Concern

What = Literal["cloud", "raster", "table"]

#: Code of a finding that another layer makes -> what it would do to a comparison.
CONSEQUENCES: Mapping[str, str] = MappingProxyType(
    {
        "crs-contradiction": "the part they contradict each other in gets no statement until it is settled; "
        "taking the wrong one would move the file by all of their difference",
        "crs-unreadable": "this declaration counts as absent",
        "crs-deprecated": "none where the successor is the same system; else the successor moves the points",
        "crs-geographic": "horizontal errors cannot be formed in degrees",
        "crs-unit-unknown": "lengths cannot be turned into metres, so nothing can be compared",
        "file-count-differs": "the file was cut, joined or edited after its header was written: points may "
        "be missing",
        "file-bounds-differ": "software that trusts the box misses points; this tool then reads the whole "
        "file",
        "file-record-broken": "what the record was to declare is lost",
        "file-suspect-values": "heights taken from these values would be wrong",
        "checkpoints-cover-assumed": "vegetated points would be counted among the non-vegetated ones",
        "checkpoints-cover-grouped": "decides in which group the point is judged",
        "checkpoints-foot-assumed": "in US survey feet the coordinates would lie 2 parts per million "
        "farther out: 2 ft at 1,000,000 ft",
        "checkpoints-repeated-place": "the place counts twice in every figure",
        "checkpoints-commented-point": "the point is missing in the comparison",
        "checkpoints-encoding-assumed": "ids with accents may not match",
        "checkpoints-order-assumed": "if the column means something else, every point is wrong",
        "checkpoints-column-ignored": "none",
        "checkpoints-decimal-comma": "none if commas are decimal signs",
    }
)
#: The same for findings that do not block, where that makes a difference.
UNBLOCKED: Mapping[str, str] = MappingProxyType(
    {
        "crs-contradiction": "blocks nothing by itself; if what was believed is the wrong one, the whole "
        "difference goes into the result",
    }
)
_ORDER = (Severity.BLOCKING, Severity.WARNING, Severity.NOTE)


def concern(
    code: str,
    severity: Severity,
    message: str,
    consequence: str,
    *,
    remedy: str = "",
    component: Component = "all",
    evidence: Mapping[str, Any] | None = None,
) -> Concern:
    """Make one; parameters as of `Finding`, and what it would do to a comparison."""
    return Concern(
        finding=Finding(
            code, severity, message, component=component, evidence=evidence or {}, remedy=remedy
        ),
        consequence=consequence,
    )


def of_findings(findings: Iterable[Finding], what: What) -> list[Concern]:
    """Add the consequence to what other layers found; findings that say the same are told once."""
    kept: list[Concern] = []
    for finding in findings:
        consequence = CONSEQUENCES.get(finding.code, "it may change the result")
        if finding.severity is not Severity.BLOCKING:
            consequence = UNBLOCKED.get(finding.code, consequence)
        if finding.code == "file-suspect-values" and what == "cloud":
            consequence = "points with such values would spoil heights near them"
        found = Concern(finding=finding, consequence=consequence)
        if found not in kept:
            kept.append(found)
    return kept


def ordered(concerns: Iterable[Concern]) -> tuple[Concern, ...]:
    """Sort by weight, else as they came."""
    return tuple(sorted(concerns, key=lambda found: _ORDER.index(found.finding.severity)))
