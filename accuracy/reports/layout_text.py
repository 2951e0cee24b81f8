"""How the checkpoints lie, in sentences: the same in page and PDF."""

from __future__ import annotations

from accuracy.layout import CoverLayout, DocumentLayout
from accuracy.reports.words import length, printable
from accuracy.result import Result
from accuracy.units import LengthUnit

_SHORT = ("NE", "NW", "SW", "SE")


def layout_lines(result: Result, unit: LengthUnit) -> list[str]:
    """Give a line for each claim, lengths in the display unit, and what the crew has to confirm, once."""
    documents = result.layout.documents
    confirm = dict.fromkeys(text for document in documents for text in document.confirm)
    lines = list(dict.fromkeys(_line(document, unit) for document in documents))
    if confirm:
        lines.append("To be confirmed by the crew: " + "; ".join(confirm) + ".")
    return lines


def _line(document: DocumentLayout, unit: LengthUnit) -> str:
    told = f"{printable(document.dataset)}, {printable(document.standard)}: "
    if document.area_km2 is None:
        told += "the area is not known"
    else:
        told += f"area {document.area_km2:.4g} km2 ({document.area_from})"
    told += "".join(f"; {_cover(cover, document, unit)}" for cover in document.covers)
    if document.outside:
        told += f"; outside the area: {', '.join(map(printable, document.outside))}"
    return told + "."


def _cover(cover: CoverLayout, document: DocumentLayout, unit: LengthUnit) -> str:
    name = "checkpoints" if cover.cover == "all" else cover.cover
    told = f"{name} {cover.points}"
    if cover.wanted is not None:
        told += f" ({cover.wanted} wanted for this area)"
    if cover.quadrants:
        told += ", " + " ".join(f"{q} {n}" for q, n in zip(_SHORT, cover.quadrants, strict=True))
    if cover.nearest_m is not None:
        told += f", the nearest two {length(cover.nearest_m, unit, decimals=1)} {unit.symbol} apart"
        if document.spacing_wanted_m is not None:
            told += f" ({length(document.spacing_wanted_m, unit, decimals=1)} wanted)"
    return told
