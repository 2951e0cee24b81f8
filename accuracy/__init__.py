"""Prove whether a point cloud, elevation raster or orthophoto is where it claims to be.

>>> import accuracy
>>> accuracy.LengthUnit.US_SURVEY_FOOT.metres
Fraction(1200, 3937)

The public names are those in ``__all__``; they are loaded when first used, so that importing the package
costs nothing.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from accuracy.comparison.comparing import compare
    from accuracy.comparison_record import Comparison
    from accuracy.errors import AccuracyError, ExitCode
    from accuracy.findings import Finding, Severity
    from accuracy.job import Job, load_job
    from accuracy.pipeline import verify
    from accuracy.planning import plan
    from accuracy.result import Result, read_result
    from accuracy.simulation.demo import build_demo
    from accuracy.simulation.memory import simulate
    from accuracy.standards.library import list_standards, load_standard
    from accuracy.units import LengthUnit

__version__ = "0.1.0"

_HOME = {
    "AccuracyError": "accuracy.errors",
    "Comparison": "accuracy.comparison_record",
    "ExitCode": "accuracy.errors",
    "Finding": "accuracy.findings",
    "Job": "accuracy.job",
    "LengthUnit": "accuracy.units",
    "Result": "accuracy.result",
    "Severity": "accuracy.findings",
    "build_demo": "accuracy.simulation.demo",
    "compare": "accuracy.comparison.comparing",
    "list_standards": "accuracy.standards.library",
    "load_job": "accuracy.job",
    "load_standard": "accuracy.standards.library",
    "plan": "accuracy.planning",
    "read_result": "accuracy.result",
    "simulate": "accuracy.simulation.memory",
    "verify": "accuracy.pipeline",
}

__all__ = [
    "AccuracyError",
    "Comparison",
    "ExitCode",
    "Finding",
    "Job",
    "LengthUnit",
    "Result",
    "Severity",
    "build_demo",
    "compare",
    "list_standards",
    "load_job",
    "load_standard",
    "plan",
    "read_result",
    "simulate",
    "verify",
]


def __getattr__(name: str) -> Any:
    if name in _HOME:
        return getattr(importlib.import_module(_HOME[name]), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
