"""What there is to know of one dataset's reference system: both sides, one point's way, the usual mistakes."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from enum import Enum
from typing import Any

from accuracy.findings import Finding, Severity
from accuracy.georeferencing.carrying import Plan
from accuracy.georeferencing.grids import GridShelf
from accuracy.georeferencing.transform import Places
from accuracy.georeferencing.usual_mistakes import Mistake, usual_mistakes
from accuracy.georeferencing.walkthrough import Walk, choose, walk

_AREAS = ("crs-", "transform-", "local-grid-")


@dataclass(frozen=True)
class Datum:
    """One dataset.

    Attributes
    ----------
    dataset : str
        Its name.
    files : tuple of str
        As the job writes them; they are in one reference system, or a finding says that they are not.
    plan : Plan
        Both sides, classified, and how the checkpoints get to the deliverable.
    walk : Walk
        One point on its way.
    mistakes : tuple of Mistake
        Sizes of the usual mistakes at this point.
    findings : tuple of Finding
        Those about reference systems.
    """

    dataset: str
    files: tuple[str, ...]
    plan: Plan
    walk: Walk
    mistakes: tuple[Mistake, ...]
    findings: tuple[Finding, ...]

    @property
    def blocked(self) -> bool:
        """Whether a finding forbids a statement on a part of it."""
        return any(finding.severity is Severity.BLOCKING for finding in self.findings)


def look(
    plan: Plan,
    dataset: str,
    files: Sequence[str],
    findings: Sequence[Finding],
    *,
    places: Places,
    point_id: str | None,
    shelf: GridShelf,
) -> Datum:
    """Walk one point and size the usual mistakes there.

    Parameters
    ----------
    findings : sequence of Finding
        Everything found while the job was prepared; those about reference systems of this dataset are kept.
    places, point_id
        Of the checkpoints; see `walkthrough.choose`.
    """
    given = choose(places, point_id)
    kept = tuple(
        finding
        for finding in findings
        if finding.code.startswith(_AREAS) and finding.dataset in (None, dataset)
    )
    return Datum(
        dataset,
        tuple(files),
        plan,
        walk(plan, given),
        usual_mistakes(plan, given, shelf, dataset),
        kept,
    )


def datum_data(datum: Datum) -> dict[str, Any]:
    """Give it as what JSON can hold. Lengths in metres unless a unit stands beside them."""
    plan = datum.plan
    return {
        "dataset": datum.dataset,
        "files": list(datum.files),
        "checkpoints_reference": as_data(replace(plan.source, findings=())),
        "dataset_reference": as_data(replace(plan.target, findings=())),
        "horizontal": plan.horizontal,
        "vertical": plan.vertical,
        "accuracy_m": plan.accuracy_m,
        "epoch_year": plan.epoch_year,
        "walk": as_data(datum.walk),
        "not_applied": list(plan.not_applied),
        "mistakes": [
            as_data(m) | {"size_m": m.size_m, "mm_per_100_m": m.mm_per_100_m}
            for m in datum.mistakes
        ],
        "findings": as_data(datum.findings),
    }


def as_data(record: Any) -> Any:
    """Turn records into what JSON can hold; numbers that are none become null."""
    if isinstance(record, Enum):
        return record.value
    if hasattr(record, "__dataclass_fields__"):
        return {f.name: as_data(getattr(record, f.name)) for f in fields(record)}
    if isinstance(record, Mapping):
        return {str(key): as_data(value) for key, value in record.items()}
    if isinstance(record, (tuple, list)):
        return [as_data(value) for value in record]
    if isinstance(record, float):
        return record if math.isfinite(record) else None
    return record if record is None or isinstance(record, (str, int, bool)) else str(record)
