"""Planning the survey of checkpoints: how many, where, how well, and how sure a pass would be.

``wants`` reads numbers and accuracies from the documents of the claims, ``chances`` computes the probability of
passing, ``places`` spreads points over an area, ``ground`` looks for flat ground, ``build`` puts it together.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from accuracy.planning.build import plan
    from accuracy.planning.records import FieldPlan

_HOME = {"FieldPlan": "accuracy.planning.records", "plan": "accuracy.planning.build"}

__all__ = ["FieldPlan", "plan"]


def __getattr__(name: str) -> Any:
    if name in _HOME:
        return getattr(importlib.import_module(_HOME[name]), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
