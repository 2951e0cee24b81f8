"""PDF read by poppler's programs, which share nothing with the typesetter."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from pathlib import Path

import pytest


def _run(program: str, *arguments: str) -> str:
    if shutil.which(program) is None:
        if os.environ.get("CI"):
            pytest.fail(f"{program} (poppler-utils) is absent, and CI must not skip it")
        pytest.skip(f"{program} (poppler-utils) is not installed")
    done = subprocess.run([program, *arguments], capture_output=True, check=True, timeout=120)
    return done.stdout.decode("utf-8")


def pages(path: Path) -> list[str]:
    """Give the text of each page, laid out as on the page."""
    return _run("pdftotext", "-layout", "-enc", "UTF-8", str(path), "-").split("\f")[:-1]


def words(path: Path) -> str:
    """Give all text in reading order, every run of blanks one blank."""
    return " ".join(_run("pdftotext", "-raw", "-enc", "UTF-8", str(path), "-").split())


def facts(path: Path) -> dict[str, str]:
    """Give title, author, dates, number of pages."""
    lines = _run("pdfinfo", "-isodates", str(path)).splitlines()
    return {key: value.strip() for key, _, value in (line.partition(":") for line in lines)}


def fonts_embedded(path: Path) -> list[bool]:
    """Say of each font whether it is inside the file."""
    _, _, *rows = _run("pdffonts", str(path)).splitlines()
    found = [re.search(r" (yes|no) +(yes|no) +(yes|no) +\d+ +\d+$", row) for row in rows]
    return [row is not None and row[1] == "yes" for row in found]


def metadata(path: Path) -> str:
    """Give the description (XMP) that the document carries."""
    return _run("pdfinfo", "-meta", str(path))


def urls(path: Path) -> list[str]:
    """Give every address that the document leads to."""
    return [line for line in _run("pdfinfo", "-url", str(path)).splitlines() if "://" in line]


def pictures(path: Path) -> list[tuple[int, int]]:
    """Give width and height of every picture, without the masks of pictures."""
    _, _, *rows = _run("pdfimages", "-list", str(path)).splitlines()
    return [(int(row.split()[3]), int(row.split()[4])) for row in rows if row.split()[2] == "image"]
