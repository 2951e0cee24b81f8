"""The direction of imports, as the design draws it."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[1] / "accuracy"

#: Rows of the design, lowest first. A module imports only from rows below its own; names on one row do not
#: import each other, except inside one folder. The longest matching name decides.
ROWS: tuple[tuple[str, ...], ...] = (
    ("errors", "findings", "units", "gps_time"),
    ("formats", "standards.library", "stats"),
    ("job",),
    ("inputs",),
    ("georeferencing",),
    ("sampling", "base_checks"),
    ("residuals", "flightlines", "trajectory", "inspection"),
    ("layout", "deliverables", "survey"),
    ("standards.judge", "budget", "preparation", "measuring", "areas"),
    ("targets", "diagnosis", "planning", "placement", "trajectory_of_job", "base_of_job"),
    ("processing_checks",),
    ("statement", "series", "digest"),
    ("line_statement",),
    ("result", "provenance", "lines_of_job"),
    (
        "comparison_record",
        "ledger_record",
        "lines_record",
        "inputs_of_job",
        "judging",
        "diagnosis_of_result",
    ),
    ("reports", "ledger"),
    ("pipeline", "comparison", "parallel", "simulation", "history", "recheck", "pick"),
    ("cli", "pytest_plugin"),
    ("__main__",),
)

#: The package itself and the standards folder hold no code of their own that others could import.
BARE = {"", "standards"}


def _name(path: Path) -> str:
    parts = path.relative_to(PACKAGE).with_suffix("").parts
    return ".".join(part for part in parts if part != "__init__")


def _row(name: str) -> tuple[int, str]:
    fitting = [
        (len(entry), row, entry)
        for row, entries in enumerate(ROWS)
        for entry in entries
        if name == entry or name.startswith(entry + ".")
    ]
    assert fitting, f"accuracy.{name} stands on no row of the design"
    _, row, entry = max(fitting)
    return row, entry


def _imports(path: Path) -> set[str]:
    """Every name of this package that a module imports, anywhere in it (lazy imports included)."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path.name}: relative import"
            for alias in node.names:
                whole = f"{node.module}.{alias.name}"
                is_module = (PACKAGE.parent / whole.replace(".", "/")).with_suffix(".py").exists()
                is_folder = (PACKAGE.parent / whole.replace(".", "/")).is_dir()
                found.add(whole if is_module or is_folder else str(node.module))
    return {name.removeprefix("accuracy.") for name in found if name.split(".")[0] == "accuracy"}


MODULES = sorted(path for path in PACKAGE.rglob("*.py") if _name(path) not in BARE)


@pytest.mark.parametrize("path", MODULES, ids=_name)
def test_imports_only_from_rows_below(path: Path) -> None:
    """A module imports only from rows below its own, or from its own folder."""
    row, entry = _row(_name(path))
    for imported in _imports(path) - {"accuracy"}:
        its_row, its_entry = _row(imported)
        assert its_entry == entry or its_row < row, f"{_name(path)} (row {row}) imports {imported}"


def test_the_rule_can_fail(tmp_path: Path) -> None:
    """The reader of imports sees an upward import, lazy ones too."""
    module = tmp_path / "x.py"
    module.write_text(
        "def f():\n    from accuracy.pipeline import verify\n    import accuracy.cli\n"
    )
    assert _imports(module) == {"pipeline", "cli"}
    assert _row("pipeline")[0] > _row("sampling.tin")[0]


def test_outside_libraries_have_one_door_each() -> None:
    """Clouds, rasters and geodesy libraries are imported only behind the doors that the design names."""
    doors = {
        "laspy": "formats",
        "lazrs": "formats",
        "rasterio": "formats",
        "pyproj": "georeferencing",
        "sqlite3": ("formats", "ledger"),
        "typst": "reports",
        "matplotlib": "reports",
    }
    for path in PACKAGE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            names = []
            if isinstance(node, ast.Import):
                names = [alias.name for alias in node.names]
            elif isinstance(node, ast.ImportFrom):
                names = [str(node.module)]
            for name in names:
                door = doors.get(name.split(".")[0])
                assert door is None or _name(path).startswith(door), f"{_name(path)} imports {name}"
