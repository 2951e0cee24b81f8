"""Pictures of checkpoints on the page, in a real browser."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from jobs import CRS, plane_checkpoints, write_job, write_plane_cloud, write_points_table

from accuracy.job import load_job
from accuracy.measuring import Reading
from accuracy.pipeline import verify
from accuracy.reports import as_html, as_pdf, evidence_content
from accuracy.result import Result

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def result(tmp_path_factory: pytest.TempPathFactory) -> Result:
    from PIL import Image

    folder = tmp_path_factory.mktemp("site")
    write_plane_cloud(folder / "a.laz", wkt=None)
    Image.new("RGB", (1200, 800), (90, 140, 60)).save(folder / "p.jpg")
    rows = [[*row, "p.jpg" if i == 0 else ""] for i, row in enumerate(plane_checkpoints(8))]
    write_points_table(folder / "points.csv", rows, "id,easting,northing,height,cover,photo")
    dataset = {"name": "cloud", "kind": "point-cloud", "files": ["a.laz"], "crs": CRS}
    return verify(load_job(write_job(folder, datasets=[dataset])), reading=Reading(evidence=True))


@pytest.mark.usefixtures("few_plots")
@pytest.mark.parametrize("limit", [8_000_000, 0])
def test_a_chosen_point_shows_its_pictures(
    browser: Browser, result: Result, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, limit: int
) -> None:
    """Embedded they load, without any request; beyond the limit a link leads to the file beside the page."""
    monkeypatch.setattr(evidence_content, "EMBEDDED_BYTES", limit)
    path = tmp_path / "report.html"
    path.write_bytes(as_html.render(result))
    context = browser.new_context(offline=True)
    page = context.new_page()
    complaints: list[str] = []
    asked: list[str] = []
    page.on("console", lambda message: complaints.append(message.text))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("request", lambda request: asked.append(request.url))
    page.route(re.compile("^(?!file:|data:)"), lambda route: route.abort())
    page.goto(path.as_uri())
    page.locator("#d0-p0 td").first.click()
    panel = page.locator("#d0 .panel")
    if limit:
        assert panel.locator("img").count() == 2
        page.wait_for_function(
            "[...document.querySelectorAll('.panel img')].every(i => i.complete && i.naturalWidth > 300)"
        )
        assert "EXIF" in panel.inner_text()
        page.locator("#d0-p1 td").first.click()
        assert panel.locator("img").count() == 1
    else:
        link = panel.locator("a").first
        assert link.get_attribute("href") == "evidence/1.svg"
    assert complaints == []
    assert [url for url in asked if not url.startswith("data:")] == [path.as_uri()]
    context.close()


@pytest.mark.usefixtures("few_plots")
def test_the_pdf_carries_them(result: Result, tmp_path: Path) -> None:
    """Drawings and photograph are set: their texts stand in the PDF."""
    from pdf_reader import pages

    path = tmp_path / "report.pdf"
    path.write_bytes(as_pdf.render(result))
    text = "\n".join(pages(path))
    assert "Photographs of the crew" in text
    assert "triangle that the height was taken from" in text
