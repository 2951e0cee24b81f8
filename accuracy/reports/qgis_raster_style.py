"""A style for QGIS (QML) beside a raster: classes of colour with open ends, as the picture in the report."""

from __future__ import annotations

from collections.abc import Sequence
from xml.etree import ElementTree


def classes(bounds: Sequence[float], colours: Sequence[str], unit: str) -> str:
    """Give the style of a raster of one band.

    Parameters
    ----------
    bounds : sequence of float
        Between the classes, rising.
    colours : sequence of str
        One more than bounds, ``#rrggbb``.
    unit : str
        Of the values, for the labels.

    Returns
    -------
    str
        QML text; QGIS applies it where it lies beside the raster under the same name.
    """
    if len(colours) != len(bounds) + 1:
        raise ValueError("one colour more than bounds")
    root = ElementTree.Element("qgis", version="3.22.0", styleCategories="Symbology")
    pipe = ElementTree.SubElement(root, "pipe")
    renderer = ElementTree.SubElement(
        pipe,
        "rasterrenderer",
        type="singlebandpseudocolor",
        band="1",
        opacity="1",
        alphaBand="-1",
        classificationMin=f"{bounds[0]:g}",
        classificationMax=f"{bounds[-1]:g}",
    )
    shader = ElementTree.SubElement(
        ElementTree.SubElement(renderer, "rastershader"),
        "colorrampshader",
        colorRampType="DISCRETE",
        classificationMode="1",
        clip="0",
    )
    ends = [f"{bound:g}" for bound in bounds] + ["inf"]
    for place, (end, colour) in enumerate(zip(ends, colours, strict=True)):
        ElementTree.SubElement(
            shader,
            "item",
            value=end,
            color=colour,
            alpha="255",
            label=f"{class_words(bounds, place)} {unit}",
        )
    ElementTree.indent(root, " ")
    return "<!DOCTYPE qgis>\n" + ElementTree.tostring(root, encoding="unicode") + "\n"


def class_words(bounds: Sequence[float], place: int) -> str:
    """Say from where to where a class goes.

    Examples
    --------
    >>> [class_words((-0.02, 0.0, 0.02), place) for place in range(4)]
    ['below -0.02', '-0.02 to 0', '0 to +0.02', 'above +0.02']
    """

    def shown(value: float) -> str:
        return f"{value:+g}" if value else "0"

    if place == 0:
        return f"below {shown(bounds[0])}"
    if place == len(bounds):
        return f"above {shown(bounds[-1])}"
    return f"{shown(bounds[place - 1])} to {shown(bounds[place])}"
