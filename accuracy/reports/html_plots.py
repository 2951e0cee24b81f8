"""Plots made elsewhere, put into the page: no prolog, no names that collide, nothing that could run."""

from __future__ import annotations

import re
from xml.etree import ElementTree

_SVG, _XLINK = "http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"
_LEFT_OUT = {"metadata", "script", "foreignObject", "title", "desc"}
#: Many marks are drawn as one picture, which stands inside the drawing.
_PICTURE = re.compile(r"data:image/png;base64,[A-Za-z0-9+/=\s]+")

_REFERENCE = re.compile(r"url\(#([^)]+)\)")


def inline(svg: str, prefix: str, label: str) -> str:
    """Make a stand-alone SVG fit into a page.

    Parameters
    ----------
    svg : str
        A whole SVG document.
    prefix : str
        Put before every id, so that several plots do not share one.
    label : str
        Alternative text.
    """
    ElementTree.register_namespace("", _SVG)
    ElementTree.register_namespace("xlink", _XLINK)
    root = ElementTree.fromstring(svg)
    _clean(root, prefix)
    root.set("role", "img")
    root.set("aria-label", label)
    root.set("class", "plot")
    for name in ("width", "height"):
        root.attrib.pop(name, None)
    return ElementTree.tostring(root, encoding="unicode")


def _clean(element: ElementTree.Element, prefix: str) -> None:
    for child in list(element):
        if child.tag.rpartition("}")[2] in _LEFT_OUT:
            element.remove(child)
        else:
            _clean(child, prefix)
    is_image = element.tag == f"{{{_SVG}}}image"
    for name, value in list(element.attrib.items()):
        plain = name.rpartition("}")[2]
        if plain.startswith("on"):
            del element.attrib[name]
        elif plain == "id":
            element.set(name, f"{prefix}{value}")
        elif plain == "href":
            if value.startswith("#"):
                element.set(name, f"#{prefix}{value[1:]}")
            elif not (is_image and _PICTURE.fullmatch(value)):
                del element.attrib[name]
        elif "url(" in value:
            element.set(name, _REFERENCE.sub(rf"url(#{prefix}\1)", value))
