"""Styles for QGIS (QML), one per layer of the GeoPackage: plain, told apart by shape as well as by colour.

A layer shows each dataset as a rule of its own that can be switched on and off; one dataset alone is switched
on at first, because points of several stand on the same places.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from uuid import UUID, uuid5
from xml.etree import ElementTree

from accuracy.reports.words import printable

#: Fill of what counts, of what does not, and of lines; chosen so that they differ in grey, too.
COUNTS, APART, UP, PLAN, OUTLINE = (
    "0,90,140,255",
    "225,225,225,255",
    "0,90,140,255",
    "190,80,0,255",
    "90,90,90,255",
)
_EDGE = "20,20,20,255"
_NAMESPACE = UUID(
    "8f7a1c52-0c67-4c1c-9f0a-6f1b2f3a9d10"
)  # fixed, so that the same rules give the same keys

_Symbol = tuple[str, Sequence[tuple[str, Mapping[str, str]]]]  # kind, symbol layers

_POINTS: Mapping[str, tuple[str, _Symbol]] = {
    "checkpoint, open ground": (
        '"used" AND "cover" = \'non-vegetated\'',
        ("marker", [("SimpleMarker", {"name": "circle", "color": COUNTS, "size": "2.6"})]),
    ),
    "checkpoint, vegetated": (
        '"used" AND "cover" = \'vegetated\'',
        ("marker", [("SimpleMarker", {"name": "triangle", "color": COUNTS, "size": "3.2"})]),
    ),
    "control, never judged": (
        "\"role\" = 'control'",
        ("marker", [("SimpleMarker", {"name": "square", "color": APART, "size": "2.6"})]),
    ),
    "excluded, or without a value": (
        'NOT "used" AND "role" <> \'control\'',
        ("marker", [("SimpleMarker", {"name": "cross2", "color": APART, "size": "2.6"})]),
    ),
}
_HEAD = {"name": "filled_arrowhead", "size": "1.8"}
_VECTORS: Mapping[str, tuple[str, _Symbol]] = {
    "horizontal residual": (
        "\"part\" = 'horizontal'",
        (
            "line",
            [("SimpleLine", {"line_color": PLAN, "line_width": "0.4"}), ("MarkerLine", _HEAD)],
        ),
    ),
    "vertical residual, up drawn to the north": (
        "\"part\" = 'vertical'",
        (
            "line",
            [
                ("SimpleLine", {"line_color": UP, "line_width": "0.4", "line_style": "solid"}),
                ("MarkerLine", _HEAD),
            ],
        ),
    ),
}
_OUTLINES: Mapping[str, tuple[str, _Symbol]] = {
    "file": (
        "",
        (
            "fill",
            [
                (
                    "SimpleFill",
                    {
                        "style": "no",
                        "outline_color": OUTLINE,
                        "outline_style": "dash",
                        "outline_width": "0.3",
                    },
                )
            ],
        ),
    ),
}


def points(datasets: Sequence[str]) -> str:
    """Give the style of surveyed points, labelled by id."""
    return _style("points", datasets, _POINTS, label="id")


def vectors(datasets: Sequence[str]) -> str:
    """Give the style of residual vectors."""
    return _style("vectors", datasets, _VECTORS)


def outlines(datasets: Sequence[str]) -> str:
    """Give the style of footprints."""
    return _style("outlines", datasets, _OUTLINES)


def _style(
    layer: str,
    datasets: Sequence[str],
    kinds: Mapping[str, tuple[str, _Symbol]],
    label: str | None = None,
) -> str:
    parts = "Symbology|Labeling" if label else "Symbology"
    root = ElementTree.Element("qgis", version="3.22.0", styleCategories=parts)
    renderer = ElementTree.SubElement(
        root,
        "renderer-v2",
        type="RuleRenderer",
        symbollevels="0",
        enableorderby="0",
        forceraster="0",
    )
    rules = ElementTree.SubElement(renderer, "rules", key=_key(layer))
    symbols = ElementTree.Element("symbols")
    for place, dataset in enumerate(map(printable, datasets)):
        quoted = dataset.replace("'", "''")
        head = ElementTree.SubElement(
            rules,
            "rule",
            key=_key(layer, str(place)),
            label=dataset,
            filter=f"\"dataset\" = '{quoted}'",
        )
        if place:
            head.set("checkstate", "0")
        for words, (condition, symbol) in kinds.items():
            name = str(len(symbols))  # one for each rule: QGIS does not share them
            _add_symbol(symbols, name, symbol)
            ElementTree.SubElement(
                head,
                "rule",
                key=_key(layer, str(place), words),
                label=words,
                filter=condition,
                symbol=name,
            )
    renderer.append(symbols)
    if label:
        _add_label(root, label)
    ElementTree.indent(root, " ")
    return "<!DOCTYPE qgis>\n" + ElementTree.tostring(root, encoding="unicode") + "\n"


def _key(*parts: str) -> str:
    return f"{{{uuid5(_NAMESPACE, '/'.join(parts))}}}"


def _add_symbol(parent: ElementTree.Element, name: str, symbol: _Symbol) -> None:
    kind, layers = symbol
    element = ElementTree.SubElement(
        parent, "symbol", type=kind, name=name, alpha="1", clip_to_extent="1", force_rhr="0"
    )
    for place, (layer_class, options) in enumerate(layers):
        layer = ElementTree.SubElement(
            element, "layer", {"class": layer_class}, enabled="1", locked="0"
        )
        layer.set("pass", "0")
        if layer_class == "MarkerLine":  # a head at the end of a line
            colour = next(iter(o["line_color"] for _, o in layers if "line_color" in o))
            _add_options(layer, {"placement": "lastvertex", "rotate": "1"})
            head = {**options, "color": colour, "outline_color": colour}
            _add_symbol(layer, f"@{name}@{place}", ("marker", [("SimpleMarker", head)]))
            continue
        edge = (
            {"outline_color": _EDGE, "outline_width": "0.2"}
            if layer_class == "SimpleMarker"
            else {}
        )
        _add_options(layer, {**edge, **options})


def _add_options(layer: ElementTree.Element, options: Mapping[str, str]) -> None:
    table = ElementTree.SubElement(layer, "Option", type="Map")
    for name, value in options.items():
        ElementTree.SubElement(table, "Option", type="QString", name=name, value=value)


def _add_label(root: ElementTree.Element, field: str) -> None:
    labeling = ElementTree.SubElement(root, "labeling", type="simple")
    settings = ElementTree.SubElement(labeling, "settings", calloutType="simple")
    style = ElementTree.SubElement(
        settings,
        "text-style",
        fieldName=field,
        isExpression="0",
        fontSize="8",
        fontSizeUnit="Point",
        textColor=_EDGE,
        textOpacity="1",
    )
    ElementTree.SubElement(
        style,
        "text-buffer",
        bufferDraw="1",
        bufferSize="0.7",
        bufferSizeUnits="MM",
        bufferColor="255,255,255,255",
        bufferOpacity="1",
    )
    ElementTree.SubElement(
        settings, "placement", placement="6", dist="1", distUnits="MM", geometryGenerator=""
    )
    ElementTree.SubElement(settings, "rendering", drawLabels="1", obstacle="1", scaleVisibility="0")
