"""Runs held against each other on the same checkpoints.

``loading`` finds the results, ``changes`` tells what is not the same, ``points`` which checkpoints can be
compared, ``claimed`` what is claimed and how large a change matters, ``judging`` sets the verdicts,
``comparing`` puts them together, ``baseline`` writes a result to keep. The names below are loaded when first
used.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from accuracy.comparison.comparing import compare
    from accuracy.comparison.loading import LoadedRun, load_run

_HOME = {
    "LoadedRun": "accuracy.comparison.loading",
    "compare": "accuracy.comparison.comparing",
    "load_run": "accuracy.comparison.loading",
}

__all__ = ["LoadedRun", "compare", "load_run"]


def __getattr__(name: str) -> Any:
    if name in _HOME:
        return getattr(importlib.import_module(_HOME[name]), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
