"""The realisation behind a datum ensemble, as a job states it: EPSG has no plane on WGS 84 (G2139)."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

from accuracy.errors import ReferenceSystemError
from accuracy.georeferencing.crs import compound_wkt, find_datum, parse
from accuracy.georeferencing.operations import FRAMES
from accuracy.georeferencing.record import Reference
from accuracy.georeferencing.systems import read_system


def with_realisation(reference: Reference, name: str, where: str) -> Reference:
    """Put a realisation in the place of the ensemble that a system is declared on.

    Parameters
    ----------
    reference : Reference
        On a datum ensemble.
    name : str
        ``WGS 84 (G2139)``, ``ETRF2000``, or the name of the datum in the registry.
    where : str
        For messages and `Reference.sources`.

    Raises
    ------
    ReferenceSystemError
        The system is on no ensemble, or the realisation is no member of it.
    """
    if not reference.ensemble or reference.horizontal_wkt is None:
        raise ReferenceSystemError(
            f"the realisation {name} is stated, but {reference.name} is not on a datum ensemble",
            where=where,
            remedy="delete realisation, or correct crs",
        )
    facts: dict[str, Any] = json.loads(parse(reference.horizontal_wkt, where).to_json())
    base = facts.get("base_crs", facts)
    members = [member["name"] for member in base["datum_ensemble"]["members"]]
    datum = FRAMES.get(name, name)
    if datum not in members:
        allowed = [short for short, full in FRAMES.items() if full in members]
        raise ReferenceSystemError(
            f"{name} is no realisation of {reference.frame}",
            where=where,
            remedy=f"write one of {', '.join(allowed)}, or the registry's name of another member",
        )
    registered = find_datum(datum)
    assert registered is not None
    base["datum"] = registered.to_json_dict()
    for part, what in ((base, "base"), (facts, "whole")):
        part.pop("id", None)
        part.pop("datum_ensemble", None)
        if what == "base" or part is base:
            part["name"] = name
    if facts is not base:
        facts["name"] = f"{reference.name.split(' + ')[0]} on {name}"
    horizontal = read_system(json.dumps(facts), where)
    label = f"{reference.name} on {name}"
    return replace(
        reference,
        name=label,
        horizontal=f"{reference.horizontal} on {name}",
        horizontal_wkt=horizontal.horizontal_wkt,
        frame=horizontal.frame,
        dynamic=horizontal.dynamic,
        ensemble=False,
        ensemble_accuracy_m=None,
        vertical=f"ellipsoidal height, {horizontal.frame}"
        if reference.vertical_kind == "ellipsoidal"
        else reference.vertical,
        wkt=compound_wkt(horizontal.horizontal_wkt, reference.vertical_wkt, label),
        sources=(*reference.sources, f"realisation {name}: {where}"),
    )
