"""The ledger: every recorded verification in one SQLite file, beside the result files it can be rebuilt from.

``store`` reads and writes it, ``place`` tells whether it lies on a network share. The names below are loaded
when first used.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from accuracy.ledger.store import Ledger, ledger_at, ledger_beside

__all__ = ["Ledger", "ledger_at", "ledger_beside"]

_HOME = dict.fromkeys(__all__, "accuracy.ledger.store")


def __getattr__(name: str) -> Any:
    if name in _HOME:
        return getattr(importlib.import_module(_HOME[name]), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
