"""The public face of the package."""

from __future__ import annotations

import subprocess
import sys

import accuracy


def test_public_names_are_pinned() -> None:
    """The list of public names changes only on purpose, and every name on it resolves."""
    assert accuracy.__all__ == [
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
    for name in accuracy.__all__:
        assert getattr(accuracy, name).__doc__, name


def test_importing_the_package_loads_no_heavy_library() -> None:
    """Start-up stays light: the package itself imports none of the libraries it computes with."""
    heavy = ["numpy", "scipy", "pandas", "laspy", "lazrs", "rasterio", "pyproj", "pydantic", "rich"]
    heavy += ["typst"]
    code = f"import sys, accuracy, accuracy.cli; print([m for m in {heavy} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
