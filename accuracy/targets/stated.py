"""Which target lies at which checkpoint: from the job and the rows of the checkpoint table."""

from __future__ import annotations

from collections.abc import Sequence
from typing import cast

from accuracy.findings import Finding, Severity
from accuracy.inputs.checkpoints import Checkpoint
from accuracy.job.targets_section import TargetsSection
from accuracy.sampling.targets import Pattern, TargetSpec


def stated_targets(
    section: TargetsSection | None, points: Sequence[Checkpoint]
) -> tuple[dict[str, TargetSpec], tuple[Finding, ...]]:
    """Give the target of each point that has one, by id, and say which are stated too poorly.

    What a row says goes before what the job says.
    """
    rows_say = any(point.target is not None for point in points)
    if section is None and not rows_say:
        return {}, ()
    section = section or TargetsSection()
    known = {point.id for point in points}
    specs: dict[str, TargetSpec] = {}
    lacking: list[str] = []
    for point in points:
        its = point.target
        named = its is not None or not rows_say
        wanted = point.id in section.ids if section.ids else named
        if not wanted or (its is not None and its.pattern == "none"):
            continue
        pattern = (its.pattern if its else None) or section.pattern
        size_m = (its.size_m if its else None) or section.size_m
        inner_m = (its.inner_m if its else None) or section.inner_m
        unfit = pattern == "ring" and (inner_m is None or (size_m or 0.0) <= inner_m)
        if pattern is None or size_m is None or unfit:
            if rows_say or section.pattern or section.size_m or section.ids:
                lacking.append(point.id)
            continue
        specs[point.id] = TargetSpec(
            cast("Pattern", pattern),
            size_m,
            inner_m if pattern == "ring" else None,
            "height" if pattern == "plate" else section.seen_by,
            section.search_m,
        )
    findings = []
    strangers = [name for name in section.ids if name not in known]
    if lacking or strangers:
        told = [f"pattern or size not stated at {', '.join(lacking)}"] if lacking else []
        told += [f"no such point: {', '.join(strangers)}"] if strangers else []
        findings.append(
            Finding(
                "target-not-stated",
                Severity.WARNING,
                f"targets that are not measured: {'; '.join(told)}",
                component="horizontal",
                evidence={"points": len(lacking) + len(strangers)},
                remedy="state pattern and size_m in [targets], or target_pattern and target_size_m in the "
                "table",
            )
        )
    return specs, tuple(findings)
