"""Reports: views of a finished `accuracy.result.Result`, with no arithmetic of their own.

`EXPORTS` lists them: file name in the result folder, and the module whose ``render(result) -> bytes`` makes
it. A new export is one file here and one row there.
"""

from __future__ import annotations

import importlib
from collections.abc import Mapping
from types import MappingProxyType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from accuracy.result import Result

EXPORTS: Mapping[str, str] = MappingProxyType(
    {
        "result.json": "accuracy.reports.as_json",
        "residuals.csv": "accuracy.reports.as_csv",
        "statement.txt": "accuracy.reports.as_statement",
        "summary.txt": "accuracy.reports.as_summary",
    }
)


def render(result: Result, name: str) -> bytes:
    """Render one export by its file name."""
    module = importlib.import_module(EXPORTS[name])
    content: bytes = module.render(result)
    return content


def render_all(result: Result) -> dict[str, bytes]:
    """Render every export."""
    return {name: render(result, name) for name in EXPORTS}
