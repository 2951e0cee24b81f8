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
    """Byte for byte; on a difference the actual file is left in a folder named in the message."""
    aside = tmp_path_factory.mktemp("actual")
    different = []
    for name, content in rebuilt.items():
        kept = gold.ROOT / name
        if not kept.is_file() or kept.read_bytes() != content:
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
    assert {Path(name).name for name in kept} == {*EXPORTS, "job.toml"}


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
