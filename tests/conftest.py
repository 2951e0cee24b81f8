"""Fixtures for the whole suite."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from playwright.sync_api import Browser

    from accuracy.result import Result

sys.path.insert(0, str(Path(__file__).parent))  # so that tests can import support and strategies

# As the command line does; before numpy is loaded here, and inherited by the workers that run the tests.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

SHARED = Path(__file__).resolve().parents[1].parent / "shared"


def _shared_folder(name: str) -> Path:
    folder = SHARED / name
    if not folder.is_dir():
        if os.environ.get("CI"):
            pytest.fail(f"{name} folder of real files is absent, and CI must not skip it")
        pytest.skip(f"the real files of ../shared/{name} are not beside this checkout")
    return folder


@pytest.fixture(scope="session")
def shared_data() -> Path:
    """Folder of real clouds, rasters and tables, read in place; never copied into the project."""
    return _shared_folder("data")


@pytest.fixture(scope="session")
def shared_standards() -> Path:
    """Folder of notes and tables on the published standards."""
    return _shared_folder("standards")


@pytest.fixture(scope="session")
def shared_geodesy() -> Path:
    """Folder of published coordinates and samples."""
    return _shared_folder("geodesy")


@pytest.fixture(scope="session")
def many_result() -> Result:
    """Give a made-up result of 10 000 checkpoints, computed once."""
    from drawn_result import make_result, make_rows

    return make_result(make_rows(10_000))


@pytest.fixture
def few_plots(monkeypatch: pytest.MonkeyPatch) -> None:
    """Draw the plan and two plots only: drawing takes most of the time, and each plot has its own tests."""
    from accuracy.reports import as_plots, plots

    few = {name: plots.PLOTS[name] for name in ("site-plan", "histogram", "against-base")}
    for module in (plots, as_plots):
        monkeypatch.setattr(module, "PLOTS", few)


@dataclass(frozen=True)
class Views:
    """The demo's page, and what its PDF sets."""

    page: bytes
    pdf: dict[str, Any]


@pytest.fixture(scope="session")
def demo_views(demo_result: Result) -> Views:
    """Draw the demo once, for page and PDF."""
    from accuracy.reports import as_html, pdf_content

    return Views(as_html.render(demo_result), pdf_content.content(demo_result))


@pytest.fixture(scope="session")
def usual_page() -> bytes:
    """Give the page of 120 checkpoints in height and plan, with every plot, and ground under the plan."""
    from drawn_result import make_result, make_rows, with_relief

    from accuracy.reports import as_html

    return as_html.render(with_relief(make_result(make_rows(120, horizontal=True))))


@pytest.fixture(scope="session")
def hostile_page() -> bytes:
    """Give the page of a result full of hostile text."""
    from hostile import hostile_result

    from accuracy.reports import as_html

    return as_html.render(hostile_result())


@pytest.fixture(scope="session")
def demo_result(tmp_path_factory: pytest.TempPathFactory) -> Result:
    """Give the result of the demo, computed once."""
    from accuracy.job import load_job
    from accuracy.pipeline import verify
    from accuracy.simulation.demo import build_demo

    return verify(load_job(build_demo(tmp_path_factory.mktemp("demo") / "site").job))


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Start Debian's chromium."""
    chromium = shutil.which("chromium")
    if chromium is None:
        if os.environ.get("CI"):
            pytest.fail("chromium is absent, and CI must not skip it")
        pytest.skip("chromium is not installed")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        started = playwright.chromium.launch(
            executable_path=chromium,
            args=[
                "--no-sandbox",
                "--disable-gpu",
                "--disable-background-networking",
                "--no-first-run",
            ],
        )
        yield started
        started.close()
