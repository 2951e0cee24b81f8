"""All the declarations of one file taken together, and what a job or a table adds to them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from accuracy.errors import ReferenceSystemError
from accuracy.findings import Component, Finding, Severity
from accuracy.formats import CrsEvidence
from accuracy.georeferencing.crs import (
    compound_wkt,
    same_horizontal,
    same_projection,
    same_vertical,
)
from accuracy.georeferencing.geoids import same_geoid
from accuracy.georeferencing.geokeys import USER_DEFINED_SYSTEM, read_geokeys
from accuracy.georeferencing.record import UNKNOWN, Reference
from accuracy.georeferencing.systems import read_system

#: Epochs nearer than this are the same: plate motion of 0.1 m a year moves a point 1 mm in it (common
#: practice, no source).
SAME_EPOCH_YEARS = 0.01


def interpret(evidence: Sequence[CrsEvidence]) -> tuple[Reference, tuple[Finding, ...]]:
    """Interpret all the declarations of one file together; contradictions are findings.

    The record that the file's header names counts first, then the order in the file. What one record says
    and the others leave open is taken from it, with a warning where it concerns heights. Where two
    records contradict each other the first is kept and the finding blocks.

    Parameters
    ----------
    evidence : sequence of CrsEvidence
        What the file's records literally say.

    Returns
    -------
    reference : Reference
        Named ``unknown`` where nothing is declared.
    findings : tuple of Finding
        With `dataset` unset.
    """
    findings: list[Finding] = []
    readings: list[tuple[CrsEvidence, Reference]] = []
    for item in sorted(evidence, key=lambda item: item.preferred is False):
        reference = _read(item, findings)
        if reference is not None:
            readings.append((item, reference))
    if not readings:
        return UNKNOWN, tuple(findings)
    (first, merged), *others = readings
    if first.preferred is False:
        findings.append(
            Finding(
                "crs-contradiction",
                Severity.WARNING,
                f"the header names another kind of record for the reference system than {first.where}, and "
                "there is none that can be read; what is there was used",
                remedy="write the file again with a header bit that fits its records",
            )
        )
    for item, reference in others:
        merged = _merged(merged, first.where, reference, item.where, findings)
    if merged.horizontal_known:  # another record says what a user-defined key left open
        findings = [found for found in findings if found.evidence != USER_DEFINED_SYSTEM]
    return merged, tuple(findings)


def _read(item: CrsEvidence, findings: list[Finding]) -> Reference | None:
    problem = item.problem
    if problem is None:
        try:
            if item.geokeys:
                reference = read_geokeys(item.geokeys, item.where)
            else:
                reference = read_system(item.wkt or "", item.where)
        except ReferenceSystemError as error:
            problem = error.message
        else:
            findings += reference.findings
            return replace(reference, findings=())
    findings.append(
        Finding(
            "crs-unreadable",
            Severity.WARNING,
            f"{item.where}: {problem}",
            remedy="write the file's reference system again, or state it in the job's crs",
        )
    )
    return None


def _merged(
    first: Reference, first_where: str, other: Reference, where: str, findings: list[Finding]
) -> Reference:
    """Complete the first reading by another; contradictions keep the first."""
    for component, told in contradictions(first, other):
        findings.append(
            Finding(
                "crs-contradiction",
                Severity.BLOCKING,
                f"{first_where} and {where} contradict each other: {told}",
                component=component,
                remedy="find out which is right, and write the file's records again so that they say that "
                "only",
            )
        )
    merged, taken = completed(first, other)
    for what in taken:
        if what != "horizontal":
            findings.append(
                Finding(
                    "crs-contradiction",
                    Severity.WARNING,
                    f"only {where} says {what}; {first_where} is silent about it",
                    component="vertical",
                    remedy="write the file's records again so that they say the same",
                )
            )
    return merged


def contradictions(one: Reference, other: Reference) -> list[tuple[Component, str]]:
    """Say what two declarations of the same coordinates contradict each other in; silence is none."""
    found: list[tuple[Component, str]] = []
    if one.horizontal_known and other.horizontal_known:
        if not same_horizontal(one.horizontal_wkt or "", other.horizontal_wkt or ""):
            found.append(("all", f"{_horizontal(one)} against {_horizontal(other)}"))
    elif (
        one.horizontal_wkt
        and other.horizontal_wkt  # a datum is missing: the rest must still fit
        and not same_projection(one.horizontal_wkt, other.horizontal_wkt)
    ):
        found.append(("all", f"{_horizontal(one)} against {_horizontal(other)}"))
    units = one.horizontal_unit, other.horizontal_unit
    if not found and None not in units and units[0] is not units[1]:
        found.append(("all", f"horizontal unit {units[0]} against {units[1]}"))
    found += [("vertical", told) for told in _vertical_contradictions(one, other)]
    if epochs_differ(one, other):
        found.append(("all", f"epoch {one.epoch_year:g} against {other.epoch_year:g}"))
    return found


def epochs_differ(one: Reference, other: Reference) -> bool:
    """Whether both sides carry an epoch, and not the same."""
    if one.epoch_year is None or other.epoch_year is None:
        return False
    return abs(one.epoch_year - other.epoch_year) > SAME_EPOCH_YEARS


def _vertical_contradictions(one: Reference, other: Reference) -> list[str]:
    if one.vertical_known and other.vertical_known:
        same = one.vertical_kind == other.vertical_kind and (
            one.vertical_kind == "ellipsoidal"
            or same_vertical(one.vertical_wkt or "", other.vertical_wkt or "")
        )
        if not same:
            return [f"heights {_vertical(one)} against {_vertical(other)}"]
    units = one.vertical_unit, other.vertical_unit
    if None not in units and units[0] is not units[1]:
        return [f"vertical unit {units[0]} against {units[1]}"]
    if one.geoid and other.geoid and not same_geoid(one.geoid, other.geoid):
        return [f"geoid model {one.geoid} against {other.geoid}"]
    return []


def completed(one: Reference, other: Reference) -> tuple[Reference, list[str]]:
    """Fill what `one` leaves open from `other`; give the result and a list of what was taken."""
    taken: list[str] = []
    result = one
    contradicted = {component for component, _ in contradictions(one, other)}
    if "all" in contradicted:
        return one, []
    if not one.horizontal_known and (
        other.horizontal_known or (one.horizontal_wkt is None and other.horizontal_wkt is not None)
    ):
        taken.append("horizontal")
        result = replace(
            result,
            name=other.name,
            horizontal=other.horizontal,
            horizontal_wkt=other.horizontal_wkt,
            horizontal_kind=other.horizontal_kind,
            horizontal_unit=other.horizontal_unit,
            frame=other.frame,
            dynamic=other.dynamic,
            ensemble=other.ensemble,
            ensemble_accuracy_m=other.ensemble_accuracy_m,
            axes=other.axes,
            area_deg=other.area_deg,
            wkt=other.wkt,
        )
    if "vertical" not in contradicted:
        if not one.vertical_known and other.vertical_known:
            taken.append(f"what heights refer to ({_vertical(other)})")
            result = replace(
                result,
                vertical_kind=other.vertical_kind,
                vertical=other.vertical,
                vertical_wkt=other.vertical_wkt,
                vertical_unit=other.vertical_unit,
            )
        elif one.vertical_unit is None and other.vertical_unit is not None:
            taken.append(f"the unit of heights ({other.vertical_unit})")
            result = replace(result, vertical_kind="unknown", vertical_unit=other.vertical_unit)
        if one.geoid is None and other.geoid is not None:
            taken.append(f"the geoid model ({other.geoid})")
            result = replace(result, geoid=other.geoid)
        if (
            one.vertical_kind == "unknown"
            and one.vertical_unit is None
            and not one.horizontal_known
            and other.vertical_kind == "none"
        ):
            result = replace(result, vertical_kind="none")
    if one.epoch_year is None and other.epoch_year is not None:
        taken.append(f"the epoch ({other.epoch_year:g})")
        result = replace(result, epoch_year=other.epoch_year)
    result = replace(result, sources=tuple(dict.fromkeys((*one.sources, *other.sources))))
    return _renamed(result, one, other) if taken else result, taken


def _renamed(result: Reference, one: Reference, other: Reference) -> Reference:
    """Give the whole its name and WKT again, after parts of it came from elsewhere."""
    if result.vertical_wkt is None and result.vertical_kind != "ellipsoidal":
        whole = one if result.horizontal_wkt == one.horizontal_wkt else other
        return replace(result, name=whole.name, wkt=whole.wkt)
    for whole in (one, other):
        if whole.horizontal_known and whole.vertical_known and whole.vertical == result.vertical:
            return replace(result, name=whole.name, wkt=whole.wkt)
    if result.horizontal_wkt is None:
        return replace(result, name=f"unknown + {result.vertical}", wkt=result.vertical_wkt)
    one_is_plane = result.horizontal_wkt == one.horizontal_wkt
    whole, upper = (one, other) if one_is_plane else (other, one)
    name = f"{whole.name} + {upper.name if upper.horizontal is None else result.vertical}"
    return replace(
        result, name=name, wkt=compound_wkt(result.horizontal_wkt, result.vertical_wkt, name)
    )


def supplement(
    file: Reference, job: Reference | None, where: str
) -> tuple[Reference, tuple[Finding, ...]]:
    """Complete what a file says by what the job says of it; a contradiction is a blocking finding.

    Parameters
    ----------
    file : Reference
        What the file itself says.
    job : Reference or None
        What the job says of the dataset: it supplies or asserts, and never overrules a file.
    where : str
        The file, for messages.

    Returns
    -------
    reference : Reference
        The file's, completed; the file's own where both contradict each other.
    findings : tuple of Finding
        With `dataset` unset.
    """
    findings = list(file.findings)
    file = replace(file, findings=())
    if job is None:
        return file, tuple(findings)
    findings += job.findings
    job = replace(job, findings=())
    for component, told in contradictions(file, job):
        findings.append(
            Finding(
                "crs-contradiction",
                Severity.BLOCKING,
                f"{where} and the job contradict each other (file against job): {told}",
                component=component,
                evidence={"file": file.name, "job": job.name},
                remedy="find out which is right; correct crs, geoid or epoch of the [[dataset]], or write the "
                "file's own records again",
            )
        )
    result, taken = completed(file, job)
    if taken:
        vertical_only = "horizontal" not in taken and not any("epoch" in what for what in taken)
        told = ", ".join(
            f"the horizontal system ({job.horizontal})" if what == "horizontal" else what
            for what in taken
        )
        findings.append(
            Finding(
                "crs-supplied-by-job",
                Severity.NOTE,
                f"{where} does not say {told}; taken from the job",
                component="vertical" if vertical_only else "all",
                evidence={"file": file.name, "job": job.name},
            )
        )
    return result, tuple(findings)


def _horizontal(reference: Reference) -> str:
    unit = "" if reference.horizontal_unit is None else f" in {reference.horizontal_unit}"
    return f"{reference.horizontal} ({reference.frame or 'datum unknown'}){unit}"


def _vertical(reference: Reference) -> str:
    unit = "" if reference.vertical_unit is None else f" in {reference.vertical_unit}"
    return f"{reference.vertical}{unit}"
