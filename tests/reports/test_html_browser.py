"""The page in a real browser: Debian's chromium, from disk, with the network cut."""

from __future__ import annotations

import io
import re
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
from matplotlib.image import imread
from pdf_reader import pages

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

pytestmark = pytest.mark.browser

N = 120


@pytest.fixture(scope="module")
def files(
    tmp_path_factory: pytest.TempPathFactory, usual_page: bytes, hostile_page: bytes
) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("pages")
    pages = {"usual": usual_page, "hostile": hostile_page}
    for name, content in pages.items():
        (folder / f"{name}.html").write_bytes(content)
    return {name: folder / f"{name}.html" for name in pages}


class Opened:
    """A page with what it complained of and what it asked for."""

    def __init__(self, page: Page, path: Path) -> None:
        self.page = page
        self.complaints: list[str] = []
        self.asked: list[str] = []
        page.on("console", lambda message: self.complaints.append(message.text))
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.on("request", lambda request: self.asked.append(request.url))
        page.on("dialog", lambda dialog: self.complaints.append(f"dialog {dialog.message}"))
        page.route(re.compile("^(?!file:|data:)"), lambda route: route.abort())
        page.goto(path.as_uri())


def opened(browser: Browser, path: Path, **settings: object) -> Opened:
    context = browser.new_context(offline=True, **settings)
    context.set_default_timeout(10_000)
    return Opened(context.new_page(), path)


def cells(page: Page, column: int) -> list[str]:
    texts: list[str] = page.eval_on_selector_all(
        "#d0 table.points tbody tr:not([hidden])",
        f"rows => rows.map(row => row.cells[{column}].textContent)",
    )
    return texts


def tap(page: Page, mark: str) -> None:
    """Click where a mark of the plan stands, whatever lies over it."""
    halo = page.locator(f"{mark} .halo")
    halo.scroll_into_view_if_needed()
    box = halo.bounding_box()
    assert box is not None
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)


@pytest.mark.parametrize("name", ["usual", "hostile"])
def test_it_opens_from_disk_asks_for_nothing_and_complains_of_nothing(
    browser: Browser, files: dict[str, Path], name: str
) -> None:
    """No request but the file itself, no error, no warning, no dialog; the script did run."""
    it = opened(browser, files[name])
    assert it.complaints == []
    assert [url for url in it.asked if not url.startswith("data:")] == [files[name].as_uri()]
    assert it.page.locator("#d0 form.tools").is_visible()
    it.page.context.close()


def test_heads_sort_the_table_and_say_so(browser: Browser, files: dict[str, Path]) -> None:
    """By number, by name, down, and back to the order of the survey; aria-sort follows."""
    page = opened(browser, files["usual"]).page
    given = cells(page, 0)
    up = page.locator("#d0 table.points thead th", has_text=re.compile("^up"))
    up.locator("button").click()
    values = [float(text.replace("−", "-")) for text in cells(page, 5)]
    assert values == sorted(values)
    assert len(values) == N
    assert up.get_attribute("aria-sort") == "ascending"
    up.locator("button").press("Enter")
    values = [float(text.replace("−", "-")) for text in cells(page, 5)]
    assert values == sorted(values, reverse=True)
    assert up.get_attribute("aria-sort") == "descending"
    up.locator("button").click()
    assert cells(page, 0) == given
    assert page.locator("#d0 [aria-sort]").count() == 0
    page.locator("#d0 table.points th button", has_text=re.compile("^id")).first.click()
    assert cells(page, 0) == [f"Q{i}" for i in range(1, N + 1)]
    page.context.close()


def test_filters_narrow_the_table_and_fade_the_plan(
    browser: Browser, files: dict[str, Path]
) -> None:
    """By text, cover and size, together; the number shown is told; all come back."""
    page = opened(browser, files["usual"]).page
    form = page.locator("#d0 form.tools")
    form.locator("[name=cover]").select_option("vegetated")
    assert set(cells(page, 1)) == {"vegetated"}
    assert len(cells(page, 1)) == N // 4
    assert page.locator("#d0 .mark:not(.faded)").count() == N // 4 + 3
    assert form.locator("output").inner_text() == f"{N // 4} of {N} shown"
    form.locator("[name=from]").fill("0.04")
    sizes = [
        max(abs(float(text.replace("−", "-"))) for text in row)
        for row in zip(cells(page, 3), cells(page, 4), cells(page, 5), strict=True)
    ]
    assert 0 < len(sizes) < N // 4
    assert min(sizes) >= 0.04
    form.locator("[name=text]").fill("no such id")
    assert cells(page, 0) == []
    form.locator("button[type=reset]").click()
    page.locator("#d0 .mark.faded").first.wait_for(state="detached")
    assert len(cells(page, 0)) == N
    page.context.close()


def test_a_point_chosen_on_the_plan_is_chosen_in_the_table(
    browser: Browser, files: dict[str, Path]
) -> None:
    """And the other way round; what is known of it is told below the plan."""
    page = opened(browser, files["usual"]).page
    tap(page, "#d0-m97")
    row = page.locator("#d0-p97")
    assert row.get_attribute("aria-current") == "true"
    inside = row.evaluate(
        "row => { const a = row.getBoundingClientRect(), b = row.closest('.rows').getBoundingClientRect();"
        " return a.top >= b.top && a.bottom <= b.bottom }"
    )
    assert inside
    panel = page.locator("#d0 .panel")
    assert panel.locator("h4").inner_text() == "Q98"
    assert "slope of the ground" in panel.inner_text()
    page.locator("#d0-p4 td").first.click()
    assert page.locator("#d0-m4").get_attribute("aria-current") == "true"
    assert page.locator("#d0 tr[aria-current]").count() == 1
    page.context.close()


def test_the_plan_and_its_tooltips_work_by_keyboard(
    browser: Browser, files: dict[str, Path]
) -> None:
    """One stop of the tab key, arrows go from point to point, each with its tooltip; enter chooses."""
    page = opened(browser, files["usual"]).page
    assert page.locator("#d0 .mark[tabindex='0']").count() == 1
    page.locator("#d0-m0").focus()
    tip = page.locator("#d0 .tip")
    assert tip.is_visible()
    assert tip.inner_text().startswith("Q1: east ")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    assert page.evaluate("document.activeElement.id") == "d0-m2"
    assert tip.inner_text().startswith("Q3: ")
    page.keyboard.press("Enter")
    assert page.locator("#d0-p2").get_attribute("aria-current") == "true"
    page.keyboard.press("End")
    assert page.evaluate("document.activeElement.id") == f"d0-m{N + 2}"
    page.keyboard.press("Escape")
    assert tip.is_hidden()
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.closest('.plan') === null")
    page.context.close()


@pytest.mark.parametrize("name", ["usual", "hostile"])
def test_a_narrow_phone_scrolls_downward_only(
    browser: Browser, files: dict[str, Path], name: str
) -> None:
    """At 360 px only tables and plots scroll sideways, inside their own boxes."""
    page = opened(browser, files[name], viewport={"width": 360, "height": 740}).page
    assert page.evaluate("document.documentElement.scrollWidth") == 360
    claims = page.locator("#claims .scroll")
    assert claims.evaluate("e => e.scrollWidth <= e.clientWidth"), (
        "value and limit need no scrolling"
    )
    page.context.close()


def _contrast(page: Page, selector: str) -> float:
    ratio: float = page.evaluate(
        """selector => {
          const light = (text) => {
            const [r, g, b] = text.match(/[\\d.]+/g).map(Number)
              .map(v => v / 255).map(v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
            return 0.2126 * r + 0.7152 * g + 0.0722 * b;
          };
          let element = document.querySelector(selector), color = getComputedStyle(element).color;
          const clear = () => getComputedStyle(element).backgroundColor === "rgba(0, 0, 0, 0)";
          while (clear()) element = element.parentElement;
          const [a, b] = [light(color), light(getComputedStyle(element).backgroundColor)];
          return (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
        }""",
        selector,
    )
    return ratio


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_text_can_be_read_in_light_and_dark(
    browser: Browser, files: dict[str, Path], scheme: str
) -> None:
    """Contrast of at least 4.5 to 1 (WCAG 2.1, success criterion 1.4.3; from memory)."""
    page = opened(browser, files["usual"], color_scheme=scheme).page
    background = page.evaluate("getComputedStyle(document.body).backgroundColor")
    first = float(re.findall(r"[\d.]+", background)[0])
    assert first > 200 if scheme == "light" else first < 60
    for selector in (
        "p",
        "h1",
        ".quiet",
        "nav a",
        "thead th",
        ".verdict h2",
        "caption",
        "#d0-p1 td",
    ):
        assert _contrast(page, selector) >= 4.5, selector
    tap(page, "#d0-m1")
    assert _contrast(page, "#d0-p1 td") >= 4.5
    page.context.close()


def test_paper_shows_all_rows_and_no_tools(
    browser: Browser, files: dict[str, Path], tmp_path: Path
) -> None:
    """In print nothing scrolls, nothing is cut off, sources are open, and a PDF comes out."""
    page = opened(browser, files["usual"]).page
    page.emulate_media(media="print")
    assert page.locator("#d0 form.tools").is_hidden()
    assert page.locator("nav").is_hidden()
    box = page.locator("#d0 .rows").first
    assert box.evaluate("e => getComputedStyle(e).overflowY") == "visible"
    assert box.evaluate("e => e.scrollHeight <= e.clientHeight + 1")
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    assert page.locator("details:not([open])").count() == 0
    page.evaluate("dispatchEvent(new Event('afterprint'))")
    assert page.locator("details[open]").count() == 0
    paper = tmp_path / "page.pdf"
    page.pdf(path=paper, format="A4")
    with_rows = [
        text for text in pages(paper) if re.search(r"^ *Q\d+ +(non-)?vegetated", text, re.M)
    ]
    assert len(with_rows) >= 3
    assert all(re.search(r"^ *id +cover +state", text, re.M) for text in with_rows), (
        "heads repeated"
    )
    page.context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_relief_stays_in_the_background(
    browser: Browser, files: dict[str, Path], scheme: str, tmp_path: Path
) -> None:
    """On screen the ground is grey, near the paper's own lightness, and is there at all."""
    page = opened(browser, files["usual"], color_scheme=scheme).page
    drawing = page.locator("#d0 .plan > svg")
    page.add_style_tag(content=".mark,.file,.north,.scale,.sheet{visibility:hidden}")
    picture = drawing.screenshot(path=tmp_path / "plan.png", animations="disabled")
    seen = np.asarray(imread(io.BytesIO(picture), format="png"))[..., :3]
    dark = scheme == "dark"
    assert seen.min() > 0.87 if not dark else seen.max() < 0.30
    assert np.ptp(seen, axis=2).max() < 0.06, "neutral grey"
    assert len(np.unique(seen[..., 1])) >= 8
    page.context.close()


def test_it_works_without_script(browser: Browser, files: dict[str, Path]) -> None:
    """Rows, plan and details are there; a mark leads to its row by its link; no dead tools are shown."""
    page = opened(browser, files["usual"], java_script_enabled=False).page
    assert page.locator("#d0 table.points tbody tr").count() == N
    assert page.locator("#d0 form.tools").is_hidden()
    assert page.locator("#d0-m5 title").text_content() == page.locator("#d0-m5").text_content()
    page.locator("#d0-m5").focus()
    page.keyboard.press("Enter")
    assert page.url.endswith("#d0-p5")
    page.locator("details summary").first.click()
    assert page.locator("details[open]").count() == 1
    page.context.close()
