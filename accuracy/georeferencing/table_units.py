"""What the columns of a table say of units, held against its reference system."""

from __future__ import annotations

from dataclasses import replace

from accuracy.findings import Component, Finding, Severity
from accuracy.georeferencing.record import Reference
from accuracy.units import LengthUnit


def with_units(
    reference: Reference,
    horizontal_unit: LengthUnit | None,
    vertical_unit: LengthUnit | None,
    geographic: bool,
    where: str,
) -> tuple[Reference, tuple[Finding, ...]]:
    """Hold the units that a table's columns state against its reference system.

    Parameters
    ----------
    reference : Reference
        What the table's coordinates refer to.
    horizontal_unit, vertical_unit : LengthUnit or None
        Stated by column names; None where the table is silent.
    geographic : bool
        True where the columns are longitude and latitude.
    where : str
        The table, for messages.

    Returns
    -------
    reference : Reference
        Units filled in where the reference system leaves them open.
    findings : tuple of Finding
        Those of the reference not handed on yet, and a blocking ``crs-unit-differs`` for each part whose
        column and reference system contradict each other.
    """
    findings = list(reference.findings)
    reference = replace(reference, findings=())
    kind = reference.horizontal_kind
    name = reference.name
    if kind == "unknown":
        if geographic:
            reference = replace(reference, horizontal_kind="geographic", horizontal_unit=None)
    elif geographic and kind != "geographic":
        findings.append(_differs(where, "longitude and latitude", f"{name} is {kind}", "all"))
    elif kind == "geographic" and not geographic:
        if horizontal_unit is not None:
            told = f"horizontal coordinates in {horizontal_unit.print_name}"
            findings.append(_differs(where, told, f"{name} is in degrees", "all"))
        else:
            findings.append(
                Finding(
                    "crs-geographic",
                    Severity.WARNING,
                    f"{where}: {name} is in degrees, but the columns are not called longitude and latitude; "
                    "the east column was taken as longitude",
                    remedy="call the columns lon and lat",
                )
            )
    if horizontal_unit is not None and not geographic and kind != "geographic":
        if reference.horizontal_unit is None:
            reference = replace(
                reference,
                horizontal_unit=horizontal_unit,
                sources=(
                    *reference.sources,
                    f"horizontal unit {horizontal_unit}: {where}, columns",
                ),
            )
        elif horizontal_unit is not reference.horizontal_unit:
            told = f"horizontal coordinates in {horizontal_unit.print_name}"
            its = f"{name} is in {reference.horizontal_unit.print_name}"
            findings.append(_differs(where, told, its, "all"))
    if vertical_unit is not None:
        if reference.vertical_unit is None:
            reference = replace(
                reference,
                vertical_unit=vertical_unit,
                sources=(*reference.sources, f"vertical unit {vertical_unit}: {where}, columns"),
            )
        elif vertical_unit is not reference.vertical_unit:
            its = f"{reference.vertical or name} is in {reference.vertical_unit.print_name}"
            findings.append(
                _differs(where, f"heights in {vertical_unit.print_name}", its, "vertical")
            )
    return reference, tuple(findings)


def _differs(where: str, columns: str, system: str, component: Component) -> Finding:
    return Finding(
        "crs-unit-differs",
        Severity.BLOCKING,
        f"{where}: the columns say {columns}, but {system}",
        component=component,
        remedy="correct the column names, or the crs of the table in the job (for feet take the code in feet, "
        "such as EPSG:6360 for NAVD88 heights in US survey feet)",
    )
