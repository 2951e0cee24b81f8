"""What a GeoKey directory of a LAS file or GeoTIFF means, vertical keys included.

References
----------
OGC GeoTIFF 1.1 (19-008r4), GeoKeys 1024 to 4099; the values of GeoTIFF 1.0 for vertical systems (from
memory). Which keys common libraries ignore: measured, see
``tests/georeferencing/test_library_behaviour.py``.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace

from accuracy.errors import ReferenceSystemError
from accuracy.findings import Component, EvidenceValue, Finding, Severity
from accuracy.formats import GeoKeyValue
from accuracy.georeferencing.crs import compound_wkt, name_of_datum, same_datum, with_unit
from accuracy.georeferencing.geoids import geoid_named_in
from accuracy.georeferencing.record import UNKNOWN, Reference, VerticalKind
from accuracy.georeferencing.systems import read_system
from accuracy.units import LengthUnit, unit_of_epsg

MODEL, CITATION = 1024, 1026
GEODETIC, GEODETIC_CITATION, ANGULAR_UNIT = 2048, 2049, 2054
PROJECTED, PROJECTED_CITATION, LINEAR_UNIT = 3072, 3073, 3076
VERTICAL, VERTICAL_CITATION, VERTICAL_DATUM, VERTICAL_UNIT = 4096, 4097, 4098, 4099
USER_DEFINED = 32767
DEGREES = (9102, 9122)
#: EPSG codes of units of length; those beyond the three of this package are known not to be them.
UNIT_CODES = range(9001, 9100)
#: Values of key 4096 in GeoTIFF 1.0 that stand for heights above an ellipsoid (5030: that of WGS 84).
ELLIPSOIDS_OF_GEOTIFF_1_0 = range(5001, 5034)
#: Marks the finding that a WKT record beside the keys makes superfluous.
USER_DEFINED_SYSTEM: Mapping[str, EvidenceValue] = {"geokey_user_defined": True}
#: Realisations that free text may name; a bare "2011" may be a date.
_REALISATION = re.compile(
    r"(?<=83)\W*_?\W*2011|HARN|NSRS2007|CORS96|CSRS|PA11|MA11|GDA94|GDA2020|ITRF\d{2,4}|ETRS89|NAD27",
    re.IGNORECASE,
)


def read_geokeys(keys: Mapping[int, GeoKeyValue], where: str) -> Reference:
    """Interpret a GeoKey directory; what is wrong with it stands in `Reference.findings`."""
    findings: list[Finding] = []
    reference = _horizontal(keys, where, findings)
    reference = _with_linear_unit(reference, keys, where, findings)
    reference = _with_vertical(reference, keys, where, findings)
    _compare_citations(reference, keys, where, findings)
    return replace(reference, findings=tuple(findings))


def _number(keys: Mapping[int, GeoKeyValue], key: int) -> int | None:
    """Value of a key that holds a code; None where it is absent, zero or not a number."""
    value = keys.get(key)
    return value if isinstance(value, int) and value else None


def _text(keys: Mapping[int, GeoKeyValue], key: int) -> str:
    value = keys.get(key)
    text = value.strip("| \0") if isinstance(value, str) else ""
    return "" if text.casefold() in ("unknown", "unnamed") else text


def _read_code(
    code: int, key: int, allowed: tuple[str, ...], where: str, findings: list[Finding]
) -> Reference | None:
    """Read an EPSG code found in a key; None with a finding where it is not of the kind allowed there."""
    place = f"{where}, GeoKey {key}"
    component: Component = "vertical" if key == VERTICAL else "all"
    try:
        reference = read_system(f"EPSG:{code}", place)
    except ReferenceSystemError:
        reference = None
    kinds = () if reference is None else (reference.horizontal_kind, reference.vertical_kind)
    fits = kinds and kinds[0 if key != VERTICAL else 1] in allowed
    if reference is not None and fits and (key != VERTICAL or reference.horizontal is None):
        findings += reference.findings
        return replace(reference, findings=())
    findings.append(
        Finding(
            "crs-unreadable",
            Severity.WARNING,
            f"{place} holds {code}, which "
            + (
                "is no reference system of the EPSG registry"
                if reference is None
                else f"is {reference.name}, not a system of the kind this key names"
            ),
            component=component,
            remedy="correct the key, or state the reference system in the job's crs",
        )
    )
    return None


def _horizontal(keys: Mapping[int, GeoKeyValue], where: str, findings: list[Finding]) -> Reference:
    model = _number(keys, MODEL)
    projected, geodetic = _number(keys, PROJECTED), _number(keys, GEODETIC)
    plane = model == 1 or (model not in (2, 3) and projected is not None)
    code, key = (projected, PROJECTED) if plane else (geodetic, GEODETIC)
    if not plane and projected not in (None, USER_DEFINED):
        findings.append(
            _contradiction(
                f"{where}: GeoKey {MODEL} says that coordinates are not projected, yet key {PROJECTED} "
                f"names the projected system EPSG:{projected}",
                "all",
            )
        )
    if code is None:
        return UNKNOWN
    if code == USER_DEFINED:
        called = _text(keys, PROJECTED_CITATION) or _text(keys, CITATION)
        findings.append(
            Finding(
                "crs-unreadable",
                Severity.WARNING,
                f"{where}, GeoKey {key}: the horizontal system is user-defined"
                + (f' ("{called}")' if called else "")
                + "; it was not put together from its parts",
                evidence=USER_DEFINED_SYSTEM,
                remedy="state the reference system in the job's crs, or add a WKT record to the file",
            )
        )
        return UNKNOWN
    allowed = ("projected",) if plane else ("geographic", "geocentric")
    reference = _read_code(code, key, allowed, where, findings)
    if reference is None:
        return UNKNOWN
    if plane and geodetic not in (None, USER_DEFINED):
        base = _read_code(geodetic or 0, GEODETIC, ("geographic",), where, findings)
        if base and not same_datum(reference.horizontal_wkt or "", base.horizontal_wkt or ""):
            findings.append(
                _contradiction(
                    f"{where}: GeoKey {PROJECTED} names EPSG:{code} ({reference.name}), GeoKey {GEODETIC} "
                    f"names EPSG:{geodetic} ({base.name}); these are different datums",
                    "all",
                )
            )
    angle = _number(keys, ANGULAR_UNIT)
    in_degrees = reference.horizontal_kind == "geographic"
    if in_degrees and angle is not None and angle not in DEGREES:
        findings.append(
            _contradiction(
                f"{where}: GeoKey {ANGULAR_UNIT} gives angles in EPSG unit {angle}, but {reference.name} "
                "is in degrees",
                "all",
            )
        )
    return reference


def _unit_in(
    keys: Mapping[int, GeoKeyValue], key: int, where: str, findings: list[Finding]
) -> tuple[LengthUnit | None, bool]:
    """Give (unit, whether the key names a unit of length at all)."""
    code = _number(keys, key)
    if code is None or code == USER_DEFINED:
        return None, False
    unit = unit_of_epsg(code)
    if unit is not None:
        return unit, True
    is_unit = code in UNIT_CODES
    findings.append(
        Finding(
            "crs-unit-unknown" if is_unit else "crs-unreadable",
            Severity.WARNING,
            f"{where}, GeoKey {key} holds {code}, which is "
            + (
                "none of metre, international foot and US survey foot"
                if is_unit
                else "no unit of length; the key was not used"
            ),
            component="vertical" if key == VERTICAL_UNIT else "all",
            remedy="correct the key, or hand in coordinates in one of the three units",
        )
    )
    return None, is_unit


def _with_linear_unit(
    reference: Reference, keys: Mapping[int, GeoKeyValue], where: str, findings: list[Finding]
) -> Reference:
    if reference.horizontal_kind not in ("projected", "unknown"):
        return reference
    unit, named = _unit_in(keys, LINEAR_UNIT, where, findings)
    if not named or unit is reference.horizontal_unit:
        return reference
    place = f"{where}, GeoKey {LINEAR_UNIT}"
    if reference.horizontal_wkt is None or unit is None:
        return replace(
            reference,
            horizontal_unit=unit,
            sources=(*reference.sources, f"horizontal unit {unit or 'unknown'}: {place}"),
        )
    findings.append(
        _contradiction(
            f"{place} gives {unit.print_name}, but {reference.horizontal} ({reference.name}) is in "
            f"{_unit_name(reference.horizontal_unit)}; the unit key was believed",
            "all",
        )
    )
    wkt = with_unit(reference.horizontal_wkt, unit, where)
    return replace(
        reference,
        name=f"{reference.name}, in {unit.print_name}",
        horizontal=f"{reference.horizontal}, in {unit.print_name}",
        horizontal_wkt=wkt,
        horizontal_unit=unit,
        wkt=wkt if reference.vertical_kind == "none" else None,
        sources=(*reference.sources, f"horizontal unit {unit}: {place}"),
    )


def _with_vertical(
    reference: Reference, keys: Mapping[int, GeoKeyValue], where: str, findings: list[Finding]
) -> Reference:
    code, datum = _number(keys, VERTICAL), _number(keys, VERTICAL_DATUM)
    called = _text(keys, VERTICAL_CITATION)
    unit, unit_named = _unit_in(keys, VERTICAL_UNIT, where, findings)
    vertical = None
    if code not in (None, USER_DEFINED):
        vertical = _vertical_of_code(code or 0, datum, unit, where, findings)
    elif code == USER_DEFINED or datum is not None or called:
        meant = called or (name_of_datum(datum) if datum else None) or "user-defined"
        findings.append(
            Finding(
                "crs-unreadable",
                Severity.WARNING,
                f"{where}: the vertical system is named only as {meant}; what the heights refer to is taken "
                "as unknown",
                component="vertical",
                remedy="state the vertical system in the job's crs, for example EPSG:6345+5703",
            )
        )
    if vertical is None:
        if reference.vertical_known and not unit_named:
            return reference
        something = code is not None or datum is not None or bool(called) or unit_named
        if reference.vertical_known:  # a 3D or compound code with a unit key
            vertical = reference
        else:
            kind: VerticalKind = "unknown" if something or reference.horizontal is None else "none"
            return replace(
                reference,
                vertical_kind=kind,
                vertical_unit=unit,
                geoid=geoid_named_in(called),
                sources=(
                    *reference.sources,
                    *(
                        (f"vertical unit {unit}: {where}, GeoKey {VERTICAL_UNIT}",)
                        if unit is not None
                        else ()
                    ),
                ),
            )
    elif reference.vertical_known:
        findings.append(
            _contradiction(
                f"{where}: GeoKey {VERTICAL} names {vertical.name}, but {reference.name} says "
                f"{reference.vertical}",
                "vertical",
            )
        )
        return reference
    return _joined(reference, vertical, unit, unit_named, called, where, findings)


def _joined(
    reference: Reference,
    vertical: Reference,
    unit: LengthUnit | None,
    unit_named: bool,
    called: str,
    where: str,
    findings: list[Finding],
) -> Reference:
    """Put both parts together; the unit key wins over the unit of the code, and says so."""
    label, wkt, its_unit = vertical.vertical, vertical.vertical_wkt, vertical.vertical_unit
    name = vertical.name
    of_unit: tuple[str, ...] = ()
    if unit_named and unit is not its_unit:
        if unit is not None:
            findings.append(
                _contradiction(
                    f"{where}, GeoKey {VERTICAL_UNIT} gives heights in {unit.print_name}, but {label} "
                    f"({name}) is in {_unit_name(its_unit)}; the unit key was believed",
                    "vertical",
                )
            )
            wkt = with_unit(wkt, unit, where) if wkt else None
            label, name = f"{label}, in {unit.print_name}", f"{name}, in {unit.print_name}"
        its_unit = unit
        of_unit = (f"vertical unit {unit or 'unknown'}: {where}, GeoKey {VERTICAL_UNIT}",)
    if vertical is reference:
        whole_name, whole_wkt = (
            name,
            None if its_unit is not reference.vertical_unit else reference.wkt,
        )
        sources = reference.sources
    else:
        whole_name = f"{reference.name} + {name}"
        whole_wkt = compound_wkt(reference.horizontal_wkt, wkt, whole_name)
        sources = (*reference.sources, *vertical.sources)
    return replace(
        reference,
        name=whole_name,
        vertical_kind=vertical.vertical_kind,
        vertical=label,
        vertical_wkt=wkt,
        vertical_unit=its_unit,
        geoid=vertical.geoid or geoid_named_in(called),
        wkt=whole_wkt,
        sources=(*sources, *of_unit),
    )


def _vertical_of_code(
    code: int, datum: int | None, unit: LengthUnit | None, where: str, findings: list[Finding]
) -> Reference | None:
    aside: list[Finding] = []
    vertical = _read_code(code, VERTICAL, ("orthometric",), where, aside)
    if vertical is not None:
        findings += aside
        stated = name_of_datum(datum) if datum not in (None, USER_DEFINED) else None
        if (
            stated is not None
            and vertical.vertical_wkt
            and f'"{stated}"' not in vertical.vertical_wkt
        ):
            findings.append(
                _contradiction(
                    f"{where}: GeoKey {VERTICAL} names EPSG:{code} ({vertical.name}), GeoKey "
                    f"{VERTICAL_DATUM} names the datum {stated}",
                    "vertical",
                )
            )
        return vertical
    meant = ""
    its_datum = name_of_datum(code)
    if code in ELLIPSOIDS_OF_GEOTIFF_1_0:
        meant = "ellipsoidal heights were probably meant (a value of GeoTIFF 1.0)"
    elif its_datum is not None:
        meant = f"that is the code of a datum, {its_datum}"
        swapped = (
            None if datum is None else _read_code(datum, VERTICAL, ("orthometric",), where, [])
        )
        if swapped is not None:
            meant += (
                f", and key {VERTICAL_DATUM} holds {datum}, the code of a system, {swapped.name}: the two "
                "are probably swapped"
            )
        if unit is not None:
            meant += f"; heights on that datum in {unit.print_name} were probably meant"
    if not meant:
        findings += aside
        return None
    findings.append(
        Finding(
            "crs-contradiction",
            Severity.WARNING,
            f"{where}, GeoKey {VERTICAL} holds {code}, which is no vertical system; {meant}; what the "
            "heights refer to is taken as unknown",
            component="vertical",
            evidence={"geokey_4096": code, "geokey_4098": datum},
            remedy="find out what the heights refer to, and state it in the job's crs",
        )
    )
    return None


def _compare_citations(
    reference: Reference, keys: Mapping[int, GeoKeyValue], where: str, findings: list[Finding]
) -> None:
    """Compare realisations named in free text with the one of the code."""
    if reference.frame is None:
        return
    known = _bare(f"{reference.name} {reference.frame}")
    for key in (CITATION, PROJECTED_CITATION, GEODETIC_CITATION):
        text = _text(keys, key)
        strangers = [found for found in _REALISATION.findall(text) if _bare(found) not in known]
        if strangers:
            findings.append(
                Finding(
                    "crs-contradiction",
                    Severity.WARNING,
                    f'{where}, GeoKey {key}: the text "{text}" names another realisation than '
                    f"{reference.horizontal} ({reference.name})",
                    remedy="find out which realisation the coordinates are in; the code was believed",
                )
            )


def _bare(text: str) -> str:
    return re.sub(r"[\W_]", "", text.replace("High Accuracy Reference Network", "HARN")).casefold()


def _unit_name(unit: LengthUnit | None) -> str:
    return "another unit" if unit is None else unit.print_name


def _contradiction(message: str, component: Component) -> Finding:
    return Finding(
        "crs-contradiction",
        Severity.BLOCKING,
        message,
        component=component,
        remedy="find out which is right, and write the file's records again so that they say that only",
    )
