from __future__ import annotations

from pathlib import Path

import gold
import pytest
from support import assert_metres

from accuracy.inputs.checkpoints import read_checkpoints
from accuracy.reports import EXPORTS
from accuracy.units import LengthUnit, to_metres


@pytest.fixture(scope="module")
def rebuilt() -> dict[str, bytes]:
    return gold.demo_files()


def test_the_kept_examples_are_what_the_tool_makes_today(
    rebuilt: dict[str, bytes], tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Text byte for byte, the rest as `gold.comparable` says; on a difference the actual file is left aside."""
    aside = tmp_path_factory.mktemp("actual")
    different = []
    for name, content in rebuilt.items():
        kept = gold.ROOT / name
        if not kept.is_file() or gold.comparable(name, kept.read_bytes()) != gold.comparable(
            name, content
        ):
            actual = aside / name
            actual.parent.mkdir(parents=True, exist_ok=True)
            actual.write_bytes(content)
            different.append(name)
    assert not different, (
        f"differs: {different}; actual files in {aside}; tests/gold.py --write renews"
    )


def test_every_export_is_kept_and_nothing_else(rebuilt: dict[str, bytes]) -> None:
    """``reports/`` holds one example of each export, and no file that no test rebuilds."""
    kept = {path.relative_to(gold.ROOT).as_posix() for path in (gold.ROOT / "reports").rglob("*.*")}
    assert kept == {name for name in rebuilt if name.startswith("reports/")}
    exports = {name for name, export in EXPORTS.items() if export.by_default}
    assert {Path(name).name for name in kept} == {*exports, "job.toml", "relief-1.png"}


def test_what_is_compared_shows_a_difference(rebuilt: dict[str, bytes]) -> None:
    """A changed number in any form of file is a difference; a drawn line in the page is none."""
    for name in ("residuals.gpkg", "report.html", "residuals.geojson"):
        content = rebuilt[f"reports/demo/{name}"]
        other = content.replace(b"CP17", b"CP71")
        assert other != content
        assert gold.comparable(name, other) != gold.comparable(name, content)
    page = rebuilt["reports/demo/report.html"]
    drawn = page.replace(b'd="M', b'd="m', 1)
    assert drawn != page
    assert gold.comparable("report.html", drawn) == gold.comparable("report.html", page)


@pytest.mark.parametrize(
    ("name", "order"),
    [
        ("pnezd.txt", "PNEZD"),
        ("decimal-comma.csv", None),
        ("blanks.txt", "PENZ"),
        ("feet.csv", None),
    ],
)
def test_every_form_of_table_gives_the_same_points(name: str, order: str | None) -> None:
    """The same eight points in the forms that crews hand in, read alike."""
    site = read_checkpoints(gold.ROOT / "checkpoints" / "site.csv").points[:8]
    table = read_checkpoints(gold.ROOT / "checkpoints" / name, order)
    assert [p.id for p in table.points] == [p.id for p in site]
    unit = table.horizontal_unit or LengthUnit.METRE
    for ours, theirs in zip(table.points, site, strict=True):
        found = [to_metres(v, unit) for v in (ours.easting, ours.northing, ours.height)]
        assert_metres(found, [theirs.easting, theirs.northing, theirs.height], within_m=2e-6)
