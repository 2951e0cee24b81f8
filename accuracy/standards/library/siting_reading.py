"""From TOML to the records on number and places of points, and on how heights are taken."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import get_args

from accuracy.standards.library.marks import Cover, Part
from accuracy.standards.library.reader import Reader
from accuracy.standards.library.siting_records import (
    AreaCount,
    Confirm,
    ControlShare,
    Distribution,
    HeightProcedure,
    LayoutRules,
    Siting,
    Source,
)


def read_layout(top: Reader) -> LayoutRules:
    """Read ``[[area_count]]``, ``[control_share]``, ``[distribution]``, ``[siting]`` and ``[[confirm]]``."""
    control, spread = top.table_at("control_share"), top.table_at("distribution")
    siting = top.table_at("siting")
    return LayoutRules(
        counts=tuple(_area_count(reader) for reader in top.tables("area_count")),
        control=None if control is None else _control_share(control),
        distribution=None if spread is None else _distribution(spread),
        siting=None if siting is None else _siting(siting),
        confirm=tuple(_confirm(reader) for reader in top.tables("confirm")),
    )


def read_procedure(reader: Reader) -> HeightProcedure:
    """Read one ``[[height_procedure]]``."""
    procedure = HeightProcedure(
        method=reader.text("method", choices=("tin", "plane", "neighbourhood-mean", "nearest")),
        binding=reader.flag("binding"),
        source=_source(reader),
        shapes=reader.listed("shapes", (str,), "shapes"),
        across=reader.share("across", required=False),
        of=reader.text("of", required=False, choices=("design-spacing", "grid-spacing")) or None,
    )
    if any(shape not in ("circle", "square") for shape in procedure.shapes):
        reader.wrong("shapes", f"{list(procedure.shapes)!r} found", "known: circle, square")
    sized = (procedure.across is not None, procedure.of is not None, bool(procedure.shapes))
    if len(set(sized)) != 1:
        reader.wrong("across", "stands alone", "give shapes, across and of together, or none")
    if any(sized) and procedure.method not in ("plane", "neighbourhood-mean"):
        reader.wrong("across", f"given for {procedure.method}", "only a neighbourhood has a size")
    reader.finish()
    return procedure


def _source(reader: Reader) -> Source:
    return Source(*reader.source())


def _area_count(reader: Reader) -> AreaCount:
    areas = reader.listed("up_to_km2", (int, float), "numbers")
    numbers = reader.listed("points", (int,), "whole numbers")
    per_km2 = reader.share("per_km2", required=False)
    further_km2 = reader.number("further_km2", required=False)
    table = reader.table
    rule = AreaCount(
        part=reader.text("part", choices=get_args(Part)),
        cover=reader.text("cover", choices=get_args(Cover)),
        source=_source(reader),
        steps=tuple((float(a), n) for a, n in zip(areas, numbers, strict=False)),
        beyond=reader.integer("beyond_points") if "beyond_points" in table else None,
        further_km2=further_km2,
        further=reader.integer("further_points") if further_km2 is not None else None,
        per_km2=per_km2,
        plus=reader.integer("plus") if "plus" in table else 0,
        least=reader.integer("least") if "least" in table else 0,
    )
    if len(areas) != len(numbers):
        reader.wrong("points", f"{len(numbers)} numbers for {len(areas)} areas", "one for each")
    if any(b <= a for a, b in pairwise(areas)):
        reader.wrong("up_to_km2", f"{list(areas)!r} found", "rising areas")
    if further_km2 is not None and (not areas or rule.beyond is not None):
        reader.wrong("further_km2", "found", "it continues a table that names no beyond_points")
    if not areas and rule.beyond is None and per_km2 is None:
        reader.wrong("points", "are missing", "give a table, per_km2 or beyond_points")
    reader.finish()
    return rule


def _control_share(reader: Reader) -> ControlShare:
    share = reader.share("share")
    rule = ControlShare(share or reader.one, reader.integer("least"), _source(reader))
    reader.finish()
    return rule


def _distribution(reader: Reader) -> Distribution:
    rule = Distribution(
        quadrant_share=reader.number("quadrant_share") or 0.0,
        diagonal_share=reader.number("diagonal_share") or 0.0,
        by_cover=reader.flag("by_cover"),
        required=reader.flag("required"),
        source=_source(reader),
    )
    for key, most in (("quadrant_share", 0.25), ("diagonal_share", 1.0)):
        if getattr(rule, key) > most:
            reader.wrong(key, f"{getattr(rule, key):g} found", f"give a share of at most {most:g}")
    reader.finish()
    return rule


def _siting(reader: Reader) -> Siting:
    degrees = reader.number("slope_deg", required=False)
    percent = reader.number("slope_percent", required=False)
    if degrees is not None and percent is not None:
        reader.wrong("slope_percent", "stands beside slope_deg", "give one of the two")
    if percent is not None:
        degrees = math.degrees(math.atan(percent / 100.0))
    rule = Siting(
        source=_source(reader),
        slope_deg=degrees,
        below=reader.flag("below", required=degrees is not None),
        deviation_share=reader.share("deviation_share", required=False),
    )
    if degrees is None and rule.deviation_share is None:
        reader.wrong("slope_deg", "is missing", "give slope_deg, slope_percent or deviation_share")
    reader.finish()
    return rule


def _confirm(reader: Reader) -> Confirm:
    rule = Confirm(reader.text("text"), _source(reader))
    reader.finish()
    return rule
