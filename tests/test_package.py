"""What the installed package must hold."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

from accuracy.findings import CODES

PACKAGE = Path(__file__).resolve().parents[1] / "accuracy"


def test_data_files_are_installed() -> None:
    """Standards, schema and the typing marker are part of the package as installed."""
    installed = resources.files("accuracy")
    for path in (*PACKAGE.glob("*.json"), *PACKAGE.rglob("*.toml"), PACKAGE / "py.typed"):
        item = installed.joinpath(*path.relative_to(PACKAGE).parts)
        assert item.is_file(), path.name
        assert item.read_bytes() == path.read_bytes()


def test_every_finding_code_is_raised_somewhere() -> None:
    """A code that nothing raises is a promise nobody keeps."""
    code = "".join(
        path.read_text("utf-8") for path in PACKAGE.rglob("*.py") if path.name != "findings.py"
    )
    assert [name for name in CODES if f'"{name}"' not in code] == []
