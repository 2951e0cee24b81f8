"""From the text of a declaration to the facts about it.

- A system is identified with a code of an authority only after comparing it with that authority's own
  definition, never by the library's guess. From then on the authority's definition stands for it: WKT
  written by the library drops the codes of inner parts, and aliases are no longer recognised without them.
- Whether a frame moves or is an ensemble is asked of the registry: WKT 1 cannot say it.
"""

from __future__ import annotations

import re
from dataclasses import replace
from functools import lru_cache
from typing import TYPE_CHECKING

from accuracy.errors import ReferenceSystemError
from accuracy.findings import Component, Finding, Severity
from accuracy.georeferencing.crs import (
    WRITE_A_CODE,
    find_datum,
    is_proj_string,
    parse,
    same,
    shown,
    unbound,
)
from accuracy.georeferencing.geoids import geoid_named_in
from accuracy.georeferencing.record import HorizontalKind, Reference
from accuracy.units import LengthUnit, unit_of_factor

if TYPE_CHECKING:
    from pyproj import CRS

#: Names that stand for the absence of a datum, as written by common software.
_NAMELESS = re.compile(
    r"^\W*(d_)?(unknown|unnamed|undefined|unspecified|not[ _]specified)", re.IGNORECASE
)
_VERTICAL_NODE = re.compile(r'\bVERT(?:_?CS|CRS|ICALCRS)\s*[\[(]\s*"([^"]*)"', re.IGNORECASE)


@lru_cache(maxsize=256)
def read_system(text: str, where: str) -> Reference:
    """Interpret one text: code, WKT 1 or 2, ESRI WKT, PROJ JSON or PROJ string. No epoch suffix here.

    Parameters
    ----------
    text : str
        The declaration.
    where : str
        Where it stands, for messages and for `Reference.sources`.

    Raises
    ------
    ReferenceSystemError
        Not a coordinate reference system, or one of a kind that has no place here.
    """
    from pyproj.exceptions import CRSError

    crs = parse(text, where)
    try:
        return _classified(crs, text, where)
    except (CRSError, ValueError) as error:  # parts that were read but do not hold together
        raise ReferenceSystemError(
            f"{shown(text)} is a reference system with impossible parts",
            where=where,
            remedy=WRITE_A_CODE,
        ) from error


def _classified(crs: CRS, text: str, where: str) -> Reference:
    horizontal, vertical = _parts(crs, text, where)
    findings: list[Finding] = []
    reference = Reference(name=crs.name, sources=(), wkt=unbound(crs).to_wkt())
    if horizontal is not None:
        reference = _with_horizontal(reference, horizontal, where, findings)
        if is_proj_string(text):
            label = " ".join(text.split())
            reference = replace(
                reference,
                name=label,
                horizontal=label,
                frame=None,
                dynamic=False,
                ensemble=False,
                ensemble_accuracy_m=None,
                sources=(f"horizontal {label}: {where}",),
            )
        if reference.frame is None:
            findings.append(
                Finding(
                    "crs-unreadable",
                    Severity.WARNING,
                    f"{where}: names no datum realisation ({shown(text)}); taken as unknown",
                    remedy=WRITE_A_CODE,
                )
            )
    if vertical is not None:
        reference = _with_vertical(reference, vertical, where, findings)
    elif (lost := _VERTICAL_NODE.search(text)) is not None:
        findings.append(
            Finding(
                "crs-unreadable",
                Severity.WARNING,
                f'{where}: names the vertical system "{lost[1]}" in a place where WKT has none, and it was '
                "not read; what the heights refer to is taken as unknown",
                component="vertical",
                remedy="write both parts as a compound system (COMPD_CS or COMPOUNDCRS), or state the "
                "vertical system in the job's crs",
            )
        )
    elif horizontal is not None:
        reference = replace(reference, vertical_kind="none")
    if _NAMELESS.match(reference.name):
        named = [part for part in (reference.horizontal, reference.vertical) if part]
        reference = replace(reference, name=" + ".join(named) or "unnamed")
    return replace(reference, findings=tuple(findings))


def _parts(crs: CRS, text: str, where: str) -> tuple[CRS | None, CRS | None]:
    """Split into horizontal and vertical part; the second is the whole where one system holds both."""
    crs = unbound(crs)
    if crs.is_compound:
        horizontal, vertical, *more = [unbound(part) for part in crs.sub_crs_list]
        if not more and vertical.is_vertical and not horizontal.is_vertical:
            return horizontal, vertical
    elif crs.is_vertical:
        return None, crs
    elif crs.is_geocentric or len(crs.axis_info) == 2:
        return crs, None
    elif crs.is_engineering and len(crs.axis_info) == 1:
        return None, crs
    elif crs.is_engineering and len(crs.axis_info) == 3:
        return crs, crs
    elif (crs.is_geographic or crs.is_projected) and len(crs.axis_info) == 3:
        return crs.to_2d(), crs
    raise ReferenceSystemError(
        f"{shown(text)} is a {crs.type_name}, which does not place points on the ground",
        where=where,
        remedy=WRITE_A_CODE,
    )


def _with_horizontal(
    reference: Reference, part: CRS, where: str, findings: list[Finding]
) -> Reference:
    registered, code = _registered(part, "all", where, findings)
    kind: HorizontalKind = "engineering"
    if part.is_geocentric:
        kind = "geocentric"
    elif part.is_geographic:
        kind = "geographic"
    elif part.is_projected:
        kind = "projected"
    frame, dynamic, ensemble_accuracy_m = _frame(part)
    area = (registered or part).area_of_use
    label = code or part.name
    if code is None and _NAMELESS.match(part.name):
        label = f"{kind}, {frame or 'datum unknown'}"
    return replace(
        reference,
        horizontal=label,
        horizontal_wkt=(registered or part).to_wkt(),
        horizontal_kind=kind,
        horizontal_unit=None if kind == "geographic" else _unit(part, 0, "all", where, findings),
        frame=frame,
        dynamic=dynamic,
        ensemble=ensemble_accuracy_m is not None,
        ensemble_accuracy_m=ensemble_accuracy_m,
        axes=tuple(axis.direction for axis in part.axis_info[:2]),
        area_deg=None if area is None else area.bounds,
        sources=(*reference.sources, f"horizontal {label}: {where}"),
    )


def _with_vertical(
    reference: Reference, part: CRS, where: str, findings: list[Finding]
) -> Reference:
    unit = _unit(part, -1, "vertical", where, findings)
    if part.is_geographic or part.is_projected:
        label = f"ellipsoidal height, {reference.frame or 'datum unknown'}"
        return replace(
            reference,
            vertical_kind="ellipsoidal",
            vertical=label,
            vertical_unit=unit,
            sources=(*reference.sources, f"vertical {label}: {where}"),
        )
    registered, code = _registered(part, "vertical", where, findings)
    label = code or part.name
    datum = _datum_name(part)
    reference = replace(
        reference,
        vertical=label,
        vertical_unit=unit,
        vertical_wkt=(registered or part).to_wkt(),
        geoid=_geoid(part),
        sources=(*reference.sources, f"vertical {label}: {where}"),
    )
    problem = None
    if part.axis_info[-1].direction != "up":
        problem = "counts depths downwards, not heights"
    elif datum is None or _NAMELESS.match(datum):
        problem = "names no vertical datum"
    elif not part.is_engineering and _is_geodetic_datum(datum):
        problem = f"puts heights on the geodetic datum {datum} without a horizontal system"
    if problem is None:
        return replace(reference, vertical_kind="orthometric")
    findings.append(
        Finding(
            "crs-unreadable",
            Severity.WARNING,
            f'{where}: the vertical system "{part.name}" {problem}; what the heights refer to is taken as '
            "unknown",
            component="vertical",
            remedy="state the vertical system in the job's crs, for example EPSG:6345+5703, or a 3D code "
            "such as EPSG:6319 for ellipsoidal heights",
        )
    )
    return replace(reference, vertical_kind="unknown")


def _unit(
    part: CRS, axis: int, component: Component, where: str, findings: list[Finding]
) -> LengthUnit | None:
    its = part.axis_info[axis]
    unit = unit_of_factor(its.unit_conversion_factor)
    if unit is None:
        findings.append(
            Finding(
                "crs-unit-unknown",
                Severity.WARNING,
                f'{where}: the unit "{its.unit_name}" of "{part.name}" ({its.unit_conversion_factor!r} m) '
                "is none of metre, international foot and US survey foot",
                component=component,
                remedy="hand in coordinates in one of the three units",
            )
        )
    return unit


def _registered(
    part: CRS, component: Component, where: str, findings: list[Finding]
) -> tuple[CRS | None, str | None]:
    """Find the authority's own definition of a system: (definition, code), both None if there is none."""
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    stated = part.to_json_dict().get("id")
    if stated is not None:
        code = f"{stated['authority']}:{stated['code']}"
        try:
            registered = CRS.from_authority(stated["authority"], stated["code"])
        except CRSError:
            return None, code
        if registered.is_deprecated:
            findings.append(_deprecated(registered, code, component, where))
        if same(part, registered):
            return registered, code
        findings.append(
            Finding(
                "crs-contradiction",
                Severity.BLOCKING,
                f'{where}: calls itself {code} ("{registered.name}"), but its own parameters are others',
                component=component,
                remedy="find out which of the two the coordinates are in, and write that one only",
            )
        )
        return None, f"{part.name} (not {code})"
    for match in part.list_authority(min_confidence=60):
        candidate = CRS.from_authority(match.auth_name, match.code)
        if match.auth_name == "EPSG" and not candidate.is_deprecated and same(part, candidate):
            return candidate, f"EPSG:{match.code}"
    return None, None


def _deprecated(registered: CRS, code: str, component: Component, where: str) -> Finding:
    successors = registered.get_non_deprecated()
    told = ", ".join(f'{":".join(crs.to_authority() or ())} "{crs.name}"' for crs in successors)
    unchanged = bool(successors) and all(same(registered, crs) for crs in successors)
    return Finding(
        "crs-deprecated",
        Severity.NOTE if unchanged else Severity.WARNING,
        f'{where}: {code} "{registered.name}" is deprecated; '
        + (f"its successor is {told}" if told else "the registry names no successor")
        + (
            " (the same system)"
            if unchanged
            else ", which is not the same system; nothing was replaced"
            if told
            else ""
        ),
        component=component,
        remedy=f"write {told or 'a current code'} if that is what the coordinates are in",
    )


def _datum_name(part: CRS) -> str | None:
    if part.datum is not None:
        return str(part.datum.name)
    ensemble = part.to_json_dict().get("datum_ensemble")
    return None if ensemble is None else str(ensemble["name"])


def _frame(part: CRS) -> tuple[str | None, bool, float | None]:
    """Give (name of the frame, whether it moves, accuracy of the ensemble in metres if it is one)."""
    name = _datum_name(part)
    if name is None or _NAMELESS.match(name):
        return None, False, None
    base = part.geodetic_crs
    if base is None:  # a local grid
        return name, False, None
    facts = base.to_json_dict()
    stated = (facts.get("datum") or facts.get("datum_ensemble") or {}).get("id")
    datum = None if stated is None else find_datum(stated["code"], stated["authority"])
    if datum is None:
        datum = find_datum(name)
    if datum is None:
        return name, False, None
    accuracy = datum.to_json_dict().get("accuracy")
    return (
        str(datum.name).removesuffix(" ensemble"),
        str(datum.type_name).startswith("Dynamic"),
        None if accuracy is None else float(accuracy),
    )


def _geoid(part: CRS) -> str | None:
    facts = part.to_json_dict()
    models = facts.get("geoid_models") or [facts[key] for key in ("geoid_model",) if key in facts]
    if len(models) == 1:
        return str(models[0]["name"])
    return geoid_named_in(part.name) or geoid_named_in(_datum_name(part) or "")


def _is_geodetic_datum(name: str) -> bool:
    datum = find_datum(name)
    return datum is not None and "ellipsoid" in datum.to_json_dict()
