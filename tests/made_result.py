"""Made-up results with a reference system behind their datasets."""

from __future__ import annotations

from dataclasses import replace

from accuracy.georeferencing.declaration import declared
from accuracy.result import InputFile, Result


def with_system(result: Result, text: str) -> Result:
    """Put a declared system behind every dataset, as if its files and the job had named it."""
    reference = declared(text)
    return replace(
        result,
        inputs=tuple(
            InputFile("a.laz", "deliverable", d.name, "LAS", 0, "0" * 64, reference=reference)
            for d in result.datasets
        ),
        datasets=tuple(replace(d, wkt=reference.wkt) for d in result.datasets),
    )
