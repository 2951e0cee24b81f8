"""Where the checkpoints lie, and what the sensor can do, held against every claim of a job."""

from __future__ import annotations

from collections.abc import Sequence

from accuracy.areas import areas
from accuracy.budget import sensor_findings
from accuracy.findings import Finding
from accuracy.layout import DocumentLayout
from accuracy.layout.area_findings import others_outside
from accuracy.layout.documents import assess
from accuracy.preparation import Prepared
from accuracy.residuals import ResidualRow


def placement(
    prepared: Prepared, rows: Sequence[Sequence[ResidualRow]]
) -> tuple[list[DocumentLayout], list[Finding]]:
    """Compare where the checkpoints lie with what the document of each claim wants.

    Parameters
    ----------
    rows : sequence of sequence of ResidualRow
        Of each deliverable.
    """
    job = prepared.job
    found_areas, told = areas(job, prepared.deliverables)
    layouts: list[DocumentLayout] = []
    findings = list(told)
    for item, its, area in zip(prepared.deliverables, rows, found_areas, strict=True):
        name = item.setting.name
        told_outside: set[str] = set()
        for claim in job.claim:
            if claim.dataset != name:
                continue
            standard = prepared.standards[claim.standard]
            layout, more = assess(name, its, standard, claim.keys, area)
            layouts.append(layout)
            told_outside |= set(layout.outside)
            findings += more
            if item.setting.kind in ("point-cloud", "raster"):
                findings += sensor_findings(job.flight, job.sensor, name, standard, claim.keys)
        if job.area is not None and area is not None and area.rings:
            findings += others_outside(area, its, told_outside, name)
    return layouts, findings
