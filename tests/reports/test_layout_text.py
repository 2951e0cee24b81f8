"""How the checkpoints lie, in words."""

from __future__ import annotations

from dataclasses import replace

from drawn_result import make_result

from accuracy.layout import CoverLayout, DocumentLayout
from accuracy.reports.as_html import render
from accuracy.reports.layout_text import layout_lines
from accuracy.reports.pdf_content import content
from accuracy.units import LengthUnit

COVER = CoverLayout("vegetated", 12, 30, (3, 4, 5, 0), 0.0, 3.048, ("A",))
DOCUMENT = DocumentLayout(
    "cloud",
    "asprs-2024",
    "a test",
    0.0058,
    113.8,
    ("X\x1b",),
    11.38,
    (COVER,),
    confirm=("no <b> near",),
)


def test_one_line_for_each_claim_in_the_display_unit() -> None:
    """Area, number against wanted, quadrants, spacing in feet; control characters are made visible."""
    result = make_result()
    result = replace(result, layout=replace(result.layout, documents=(DOCUMENT, DOCUMENT)))
    line, confirm = layout_lines(result, LengthUnit.FOOT)
    for text in (
        "0.0058 km2 (a test)",
        "vegetated 12 (30 wanted",
        "NE 3 NW 4 SW 5 SE 0",
        "10.0 ft (int.)",
    ):
        assert text in line
    assert "\x1b" not in line
    assert confirm == "To be confirmed by the crew: no <b> near."


def test_page_and_pdf_show_the_same_lines() -> None:
    """As text, never as markup; a result without claims has none."""
    result = make_result()
    result = replace(result, layout=replace(result.layout, documents=(DOCUMENT,)))
    page = render(result).decode("utf-8")
    assert "no &lt;b&gt; near" in page
    assert content(result)["layout_lines"] == layout_lines(result, LengthUnit.METRE)
    assert (
        layout_lines(replace(result, layout=replace(result.layout, documents=())), LengthUnit.METRE)
        == []
    )
