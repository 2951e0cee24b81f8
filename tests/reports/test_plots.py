from __future__ import annotations

import base64
import io
import logging
import re
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from drawn_result import make_result, make_rows, with_relief

from accuracy.reports import as_plots
from accuracy.reports.plots import PLOTS, plot_png, plot_svg
from accuracy.result import Result, read_result

SVG = "{http://www.w3.org/2000/svg}"
HREF = "{http://www.w3.org/1999/xlink}href"
NAMES = (
    "site-plan",
    "histogram",
    "normal-quantiles",
    "cumulative",
    "against-height",
    "against-slope",
    "against-roughness",
    "against-base",
    "against-line",
    "against-order",
    "by-cover",
    "diagnosis",
    "sensitivity",
)
HOSTILE = {
    0: '<b onload="x">&\'</b>',
    1: "$\\frac{1}{2}$ $unclosed",
    2: "\u202eevil\x07\x00",
    3: '" id="stolen" #1d1d1e url(#a)',
    4: "点一 \u0643",
    5: "]]><!-- -->",
}


@pytest.fixture(scope="module")
def full() -> Result:
    """Give a dataset with residuals on all three axes and everything that plots draw."""
    return make_result(make_rows(40, horizontal=True))


def drawn(result: Result, name: str) -> str:
    """Draw a plot that must apply."""
    text = plot_svg(result, result.datasets[0].name, name)
    assert text is not None
    return text


def words(svg: str) -> str:
    """All text of a drawing, as a reader would select it."""
    root = ElementTree.fromstring(svg)
    return "\n".join("".join(item.itertext()) for item in root.iter(f"{SVG}text"))


def test_every_plot_is_listed() -> None:
    """The table has the plots the reports name, each with a title and what it shows."""
    assert set(PLOTS) == set(NAMES)
    assert all(plot.title and plot.shows for plot in PLOTS.values())


@pytest.mark.parametrize("name", NAMES)
def test_a_plot_is_one_drawing_with_its_words_as_text(full: Result, name: str) -> None:
    """SVG that parses: an image with an alternative, n and sign convention in words, no outlines of glyphs."""
    svg = drawn(full, name)
    root = ElementTree.fromstring(svg)
    assert svg.startswith("<svg ")
    assert root.get("role") == "img"
    assert "north slope" in (root.get("aria-label") or "")
    told = words(svg)
    assert re.search(r"n = \d+", told)
    assert "measured − surveyed" in told
    assert "metres" in told or " m" in told


@pytest.mark.parametrize("name", NAMES)
def test_a_plot_refers_to_nothing_outside(full: Result, name: str) -> None:
    """No link, script, style sheet, picture or document type of elsewhere; namespaces are names only."""
    svg = drawn(full, name)
    bare = re.sub(r' xmlns(:\w+)?="[^"]*"', "", svg)
    assert "http" not in bare
    assert "<!DOCTYPE" not in svg
    assert "@import" not in svg
    root = ElementTree.fromstring(svg)
    ids = [item.get("id") for item in root.iter() if item.get("id")]
    assert len(ids) == len(set(ids))
    for item in root.iter():
        assert item.tag.removeprefix(SVG) not in ("script", "a", "foreignObject", "image")
        target = item.get(HREF) or item.get("href")
        assert target is None or target.removeprefix("#") in ids


def test_the_record_alone_gives_the_same_bytes(full: Result, tmp_path: Path) -> None:
    """Read back from its JSON, a result draws the very same plots; nothing is left of a clock or a version."""
    path = tmp_path / "result.json"
    path.write_text(full.to_json(), "utf-8")
    expected = {name: drawn(full, name) for name in NAMES}
    again = read_result(path)
    for name in NAMES:
        assert drawn(again, name) == expected[name], name
        assert "matplotlib" not in expected[name].lower()


def test_a_picture_has_the_same_bytes_twice(full: Result) -> None:
    """PNG too, without the name of what made it."""
    first, second = (
        plot_png(result, "north slope", "site-plan", dots_per_inch=50)
        for result in (full, replace(full))
    )
    assert first == second
    assert first is not None
    assert first.startswith(b"\x89PNG")
    assert b"matplotlib" not in first.lower()


@pytest.mark.parametrize(
    ("unit", "long_name", "name"),
    [
        *(("metre", "metres", name) for name in NAMES),
        *(("us-survey-foot", "US survey feet", name) for name in NAMES),
        ("foot", "international feet", "site-plan"),
        ("foot", "international feet", "cumulative"),
    ],
)
def test_units_are_named_in_full(full: Result, unit: str, long_name: str, name: str) -> None:
    """Axes name the unit of the job; a bare ft never stands anywhere."""
    shown = full if unit == "metre" else replace(full, job={"job": {"display_units": unit}})
    told = words(drawn(shown, name))
    assert long_name in told
    assert not re.search(r"\bft\b(?! \((int\.|US survey)\))", told)
    assert not re.search(r"(?<!international )(?<!survey )\bfeet\b", told)
    for other in {"metres", "international feet", "US survey feet"} - {long_name}:
        assert other not in told


def test_lengths_are_converted_for_display() -> None:
    """A limit of 5 cm is 0.164 ft of either foot: 0.05 / 0.3048, and its line is labelled so."""
    told = words(drawn(make_result(unit="foot"), "histogram"))
    assert "± 0.164 ft (int.): limit for RMSE_V" in told


@pytest.fixture(scope="module")
def hostile() -> Result:
    """Give a result whose names are hostile, at points so far off that plots name them."""
    rows = make_rows(31, horizontal=True, names=HOSTILE)
    rows = tuple(
        replace(row, residual=replace(row.residual, up_m=0.2 + 0.01 * i))
        if i in HOSTILE and row.residual is not None
        else row
        for i, row in enumerate(rows)
    )
    return make_result(rows, dataset='<script>alert("1")</script> $x_1$ & \u202e')


@pytest.mark.parametrize("name", NAMES)
def test_hostile_names_are_text(hostile: Result, name: str) -> None:
    """Markup, formulas, mathematics, control and direction characters in names stay harmless text."""
    svg = drawn(hostile, name)
    root = ElementTree.fromstring(svg)
    assert {item.tag.removeprefix(SVG) for item in root.iter()} <= {
        "svg",
        "defs",
        "style",
        "g",
        "path",
        "text",
        "tspan",
        "use",
        "clipPath",
        "rect",
        "pattern",
    }
    assert not any(key.startswith("on") for item in root.iter() for key in item.attrib)
    told = words(svg)
    assert '<script>alert("1")</script> $x_1$ &' in told
    assert "\u202e" not in svg
    assert "\x07" not in svg


def test_hostile_names_in_a_picture(hostile: Result) -> None:
    """Glyphs that no font has stop no drawing."""
    assert plot_png(hostile, hostile.datasets[0].name, "against-height", dots_per_inch=40)


def test_hostile_ids_are_shown_as_they_are() -> None:
    """Names of points that are written on a plot are neither eaten nor changed by what tidies the SVG."""
    rows = make_rows(31, names={0: HOSTILE[3][:16], 1: HOSTILE[0][:16]})
    rows = tuple(
        replace(row, residual=replace(row.residual, up_m=0.3))
        if i < 2 and row.residual is not None
        else row
        for i, row in enumerate(rows)
    )
    told = words(drawn(make_result(rows), "against-height"))
    assert '" id="stolen" #1' in told
    assert '<b onload="x">&\'' in told


def test_ten_thousand_points(many_result: Result) -> None:
    """Every plot is drawn and stays of bounded size; only embedded pictures of our own making are in it."""
    many = many_result
    for name in NAMES:
        svg = drawn(many, name)
        assert len(svg) < 1_500_000
        for item in ElementTree.fromstring(svg).iter(f"{SVG}image"):
            kind, _, data = (item.get(HREF) or "").partition(",")
            assert kind == "data:image/png;base64"
            assert base64.b64decode(data).startswith(b"\x89PNG")
    assert "the 400 points of largest and smallest error tried" in words(drawn(many, "sensitivity"))


@pytest.mark.parametrize("n", [0, 1, 2, 3])
@pytest.mark.parametrize("name", NAMES)
def test_hardly_any_points(name: str, n: int) -> None:
    """With no, one, two or three points a plot is drawn or does not apply; nothing breaks."""
    result = make_result(make_rows(n))
    svg = plot_svg(result, "north slope", name)
    if n == 0:
        assert (svg is None) == (name != "site-plan")  # control points are still somewhere


def test_what_does_not_apply_is_none() -> None:
    """Positions measured in an image have no ground, so no plot over slope, roughness or flight line."""
    result = make_result(
        make_rows(30, vertical=False, horizontal=True), claimed={"horizontal_class_cm": 5.0}
    )
    for name in ("against-slope", "against-roughness", "against-line"):
        assert plot_svg(result, "north slope", name) is None
        assert plot_png(result, "north slope", name) is None
    assert plot_svg(result, "north slope", "site-plan") is not None


def test_a_result_without_series_is_drawn_as_far_as_it_goes() -> None:
    """A record of before series were kept has a plan of places; curves do not apply."""
    result = replace(make_result(), series={})
    assert plot_svg(result, "north slope", "histogram") is None
    assert plot_svg(result, "north slope", "sensitivity") is None
    assert plot_svg(result, "north slope", "site-plan") is not None


def test_the_plan_tells_its_scale() -> None:
    """The plan states size of the arrow, exaggeration as in the record, distance, and every group by name."""
    result = make_result(make_rows(40, horizontal=True))
    told = words(drawn(result, "site-plan"))
    plan = result.series["north slope"]["plan"]
    assert f"drawn {plan['exaggeration_horizontal']:g} times its size" in told
    assert f"drawn {plan['exaggeration_vertical']:g} times its size" in told
    assert re.search(r"residual of [\d.]+ m", told)
    assert re.search(r"distance of \d+ m", told)
    for group in (
        "checkpoint, non-vegetated (n = 30)",
        "checkpoint, vegetated (n = 10)",
        "control, never judged (n = 2)",
        "excluded, never judged (n = 1)",
        "extent of the files",
    ):
        assert group in told


def test_arrows_are_as_long_as_said() -> None:
    """The scale arrow, measured in the drawing, has the length its words claim on the plan's own axes."""
    from accuracy.reports.plots_canvas import Subject, styled
    from accuracy.reports.plots_plan import site_plan

    result = make_result(
        make_rows(40, horizontal=True, vertical=False), claimed={"horizontal_class_cm": 5.0}
    )
    with styled("test"):
        figure = site_plan(Subject(result, result.datasets[0]))
        assert figure is not None
        (axes,) = figure.axes
        arrow = figure.artists[0]
        figure.draw_without_rendering()
        (quiver,) = [c for c in axes.collections if hasattr(c, "U")]
        row = result.datasets[0].residuals[0]
        factor = result.series["north slope"]["plan"]["exaggeration_horizontal"]
        assert row.residual is not None
        assert row.residual.east_m is not None
        assert quiver.U[0] == pytest.approx(row.residual.east_m * factor, abs=1e-9)
        x0, x1 = (
            figure.transFigure.transform(point)[0]
            for point in (arrow._posA_posB[0], arrow._posA_posB[1])
        )
        scale = axes.transData.transform([(0.0, 0.0), (1.0, 1.0)])
        per_metre_x, per_metre_y = scale[1] - scale[0]
        size = float(
            re.findall(r"residual of ([\d.]+) m", "\n".join(t.get_text() for t in figure.texts))[0]
        )
    assert per_metre_x == pytest.approx(per_metre_y, abs=1e-6)
    assert (x1 - x0) == pytest.approx(size * factor * per_metre_x, abs=0.01)


def test_the_relief_lies_under_the_plan_in_its_place() -> None:
    """One picture, ours, at the box of the record on the plan's own axes; the note says what it is."""
    from accuracy.reports.plots_canvas import Subject, styled
    from accuracy.reports.plots_plan import site_plan

    result = with_relief(make_result(make_rows(40), unit="foot"))
    svg = drawn(result, "site-plan")
    (picture,) = ElementTree.fromstring(svg).iter(f"{SVG}image")
    assert (picture.get(HREF) or "").startswith("data:image/png;base64,")
    assert "Ground: relief of invented ground, lit from the north-west" in words(svg)
    with styled("test"):
        figure = site_plan(Subject(result, result.datasets[0]))
    assert figure is not None
    (image,) = figure.axes[0].images
    feet = [v / 0.3048 for v in (6800.0, 8600.0, 51800.0, 53000.0)]
    np.testing.assert_allclose(image.get_extent(), feet, rtol=0, atol=1e-6)
    assert image.get_zorder() == 0
    west, east = figure.axes[0].get_xlim()
    assert feet[0] < west < east < feet[1]  # the plan shows the points, not the whole picture


def test_arrows_and_bars_end_on_the_sheet() -> None:
    """The plan reaches as far as the tips of what is drawn on it."""
    from accuracy.reports.plots_canvas import Subject, styled
    from accuracy.reports.plots_plan import site_plan

    rows = make_rows(40, horizontal=True)
    result = make_result(rows)
    plan = result.series["north slope"]["plan"]
    with styled("test"):
        figure = site_plan(Subject(result, result.datasets[0]))
    assert figure is not None
    flat, high = figure.axes
    for row in rows:
        p, q = row.surveyed, row.residual
        assert q is not None
        assert None not in (p.east_m, p.north_m, q.east_m, q.north_m, q.up_m)
        east = p.east_m + q.east_m * plan["exaggeration_horizontal"]
        assert flat.get_xlim()[0] < east < flat.get_xlim()[1]
        up = p.north_m + q.up_m * plan["exaggeration_vertical"]
        assert high.get_ylim()[0] < up < high.get_ylim()[1]


def test_without_a_base_nothing_is_said_of_it() -> None:
    """The plot does not apply, and no other mentions a base."""
    result = make_result(base_m=None)
    assert plot_svg(result, "north slope", "against-base") is None
    told = words(drawn(make_result(base_m=(7000.0, 51500.0)), "against-base"))
    assert "Horizontal distance from the base in metres" in told


def test_a_clients_own_standard_has_a_short_name() -> None:
    """The hash of the file does not run over the drawing; it stands in the statement."""
    result = make_result()
    claim = replace(
        result.datasets[0].claims[0], standard=f'own "a", file b.toml, SHA-256 {"0f" * 32}'
    )
    dataset = replace(result.datasets[0], claims=(claim,))
    told = words(drawn(replace(result, datasets=(dataset,)), "sensitivity"))
    assert 'own "a", file b.toml' in told
    assert "SHA-256" not in told


def test_degrees_have_no_exaggeration() -> None:
    """Where places are in degrees, axes say so, the arrow has a size, and no factor is claimed."""
    rows = make_rows(30, vertical=False, horizontal=True, degrees=True)
    told = words(drawn(make_result(rows, claimed={"horizontal_class_cm": 5.0}), "site-plan"))
    assert "Longitude in degrees" in told
    assert re.search(r"residual of [\d.]+ m", told)
    assert "times its size" not in told


def test_up_and_down_differ_without_colour() -> None:
    """Too high and too low differ by the side of the bar, the shape of its tip and its fill."""
    told = words(drawn(make_result(), "site-plan"))
    assert "Up, filled tip: deliverable too high. Down, open tip: too low." in told


def test_covers_differ_in_grey() -> None:
    """Printed without colour, open and vegetated points are still told apart: by shape and by fill."""
    from accuracy.reports.plots_canvas import COVER_LOOKS
    from accuracy.reports.plots_plan import _GROUPS

    looks = [(marker, filled) for _, marker, filled in COVER_LOOKS.values()]
    assert len({marker for marker, _ in looks}) == 2
    assert len({filled for _, filled in looks}) == 2
    assert len({marker for marker, *_ in _GROUPS.values()}) == len(_GROUPS)


def test_the_sensitivity_tells_what_changes() -> None:
    """With the fewest points allowed, the plot says that the verdict hangs on each of them."""
    told = words(drawn(make_result(make_rows(40)), "sensitivity"))
    assert "PASSES, another if one of 30 points is left out" in told
    assert "the verdict would be another" in told
    calm = words(drawn(make_result(make_rows(60)), "sensitivity"))
    assert "PASSES, the same whichever point is left out" in calm


def test_a_blunder_is_told_beside_the_histogram() -> None:
    """A point off the histogram is named as beyond, not dropped in silence."""
    rows = make_rows(31)
    assert rows[0].residual is not None
    rows = (replace(rows[0], residual=replace(rows[0].residual, up_m=50.0)), *rows[1:])
    assert "1 beyond" in words(drawn(make_result(rows), "histogram"))


def test_a_limit_off_the_scale_is_told() -> None:
    """A limit much larger than all errors does not squeeze them; the legend says that it is off the scale."""
    told = words(drawn(make_result(claimed={"vertical_class_cm": 500.0}), "against-height"))
    assert "limit for RMSE_V, non-vegetated (NVA) (off the scale)" in told


def test_settings_of_the_user_change_nothing(full: Result) -> None:
    """Whatever matplotlib's global settings are, the drawing is ours, and they are as before afterwards."""
    import matplotlib

    expected = drawn(full, "cumulative")
    again = replace(full)
    with matplotlib.rc_context({"font.size": 30.0, "axes.facecolor": "red"}):
        assert drawn(again, "cumulative") == expected
        assert matplotlib.rcParams["font.size"] == 30.0


def test_nothing_is_logged(full: Result, caplog: pytest.LogCaptureFixture) -> None:
    """Drawing says nothing on the side, so that a command line stays quiet."""
    with caplog.at_level(logging.WARNING):
        for name in ("site-plan", "normal-quantiles", "against-line"):
            plot_png(full, "north slope", name, dots_per_inch=40)
    assert not caplog.records


def test_a_picture_stays_a_picture(full: Result) -> None:
    """The PNG is opaque white with something drawn on it."""
    from matplotlib.image import imread

    content = plot_png(full, "north slope", "histogram", dots_per_inch=60)
    assert content is not None
    pixels = np.asarray(imread(io.BytesIO(content), format="png"))
    assert pixels[0, 0].tolist() == [1.0, 1.0, 1.0, 1.0]
    assert pixels[..., 3].min() == 1.0
    assert (pixels[..., :3] < 0.5).any()


def test_the_ink_follows_the_page(full: Result) -> None:
    """In a page, text takes the page's colour on a clear ground; as a file, the ground is white."""
    svg = drawn(full, "histogram")
    assert "fill: currentColor" in svg
    assert "#1d1d1e" not in svg
    assert "fill: #ffffff" not in svg.split("<text", 1)[0].split("</g>")[0]
    white = plot_svg(full, "north slope", "histogram", ground="white")
    assert white is not None
    assert "fill: #ffffff" in white.split("</g>")[0]


@pytest.mark.usefixtures("few_plots")
def test_plots_as_files() -> None:
    """Each plot that applies becomes an SVG and a PNG, under a name that any file system takes."""
    result = make_result(make_rows(6), dataset="../N\u00f6rd: slope?*" + "x" * 80)
    files = as_plots.render_files(result)
    assert {name.rsplit(".", 1)[1] for name in files} == {"svg", "png"}
    assert len(files) == 6
    for name, content in files.items():
        assert re.fullmatch(r"01-[a-z0-9-]{1,40}-[a-z-]+\.(svg|png)", name)
        if name.endswith(".svg"):
            ElementTree.fromstring(content)
