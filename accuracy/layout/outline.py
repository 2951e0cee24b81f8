"""The outline of ``[area]``, brought to the plane of a deliverable."""

from __future__ import annotations

from accuracy.errors import ReferenceSystemError
from accuracy.findings import Finding, Severity
from accuracy.formats.outlines import Outline
from accuracy.georeferencing.crs import same_horizontal
from accuracy.georeferencing.declaration import declared
from accuracy.georeferencing.geodetic import from_points, to_points, why_unsupported
from accuracy.georeferencing.record import Reference
from accuracy.layout.footprint import Floats, Footprint, of_rings
from accuracy.units import to_metres


def area_of(
    outline: Outline, crs: str | None, target: Reference, dataset: str
) -> tuple[Footprint | None, tuple[Finding, ...]]:
    """Bring an outline to the plane of a deliverable, in metres.

    Degrees of different frames are taken for one another, which may put the outline some metres off: enough
    for an outline, and said.

    Parameters
    ----------
    crs : str or None
        What the job says of the outline's system, in place of what its file says.
    """
    import numpy as np

    said = crs or outline.crs
    unit = target.horizontal_unit
    if said is None:
        return None, (_unusable("nothing says what its coordinates refer to", dataset),)
    try:
        source = declared(said, where="the outline of [area]")
    except ReferenceSystemError as error:
        return None, (_unusable(error.message, dataset),)
    if unit is None or not target.horizontal_known or target.horizontal_kind != "projected":
        return None, (_unusable("the deliverable is in no known plane", dataset),)
    assert target.horizontal_wkt is not None
    rings: list[Floats] = list(outline.rings)
    same = source.horizontal_wkt is not None and same_horizontal(
        source.horizontal_wkt, target.horizontal_wkt
    )
    findings: tuple[Finding, ...] = ()
    if not same:
        why = why_unsupported(source) or why_unsupported(target)
        if why is not None:
            return None, (_unusable(why, dataset),)
        carried = []
        for ring in rings:
            points = to_points(source, ring[:, 0].copy(), ring[:, 1].copy(), np.zeros(len(ring)))
            carried.append(np.column_stack(from_points(target, points)))
        rings = carried
        if source.frame != target.frame:
            message = (
                f"the outline of [area] is in {source.name}, the deliverable in {target.name}: degrees of "
                "one were taken for those of the other, which may put it some metres off"
            )
            findings = (Finding("area-approximate", Severity.NOTE, message, dataset=dataset),)
    if not all(np.isfinite(ring).all() for ring in rings):
        return None, (_unusable("it has no place in the deliverable's plane", dataset),)
    area = of_rings([to_metres(ring, unit) for ring in rings], "the outline of [area]")
    if area is None:
        return None, (_unusable("it encloses no area", dataset),)
    return area, findings


def _unusable(why: str, dataset: str) -> Finding:
    return Finding(
        "area-unusable",
        Severity.WARNING,
        f"the outline of [area] is not used: {why}",
        dataset=dataset,
        remedy="state crs in [area], or hand in the outline in the deliverable's system",
    )
