"""Reports: views of a finished `accuracy.result.Result`, with no arithmetic of their own.

`EXPORTS` lists them: file name in the result folder, the word that asks for it, and the module whose
``render(result) -> bytes`` makes it (``render_files(result) -> dict`` where it is a folder of several files). A
new export is one file here and one row there.
"""

from __future__ import annotations

import importlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from accuracy.result import Result


@dataclass(frozen=True)
class Export:
    """One view.

    Attributes
    ----------
    kind : str
        What a user writes to ask for it: ``accuracy report --as html``.
    module : str
        Where it is made.
    by_default : bool
        Whether ``accuracy verify`` makes it.
    what : str
        For the help.
    """

    kind: str
    module: str
    by_default: bool
    what: str


#: File name, or folder name with a slash, to its export.
EXPORTS: Mapping[str, Export] = MappingProxyType(
    {
        "result.json": Export("json", "accuracy.reports.as_json", True, "the complete record"),
        "residuals.csv": Export("csv", "accuracy.reports.as_csv", True, "residuals as a table"),
        "statement.txt": Export(
            "statement", "accuracy.reports.as_statement", True, "the statements as text"
        ),
        "summary.txt": Export("summary", "accuracy.reports.as_summary", True, "what verify prints"),
        "report.html": Export("html", "accuracy.reports.as_html", True, "the report as one page"),
        "report.pdf": Export("pdf", "accuracy.reports.as_pdf", True, "the report for signature"),
        "residuals.gpkg": Export(
            "gpkg", "accuracy.reports.as_geopackage", True, "GeoPackage: points, vectors, outlines"
        ),
        "residuals.geojson": Export(
            "geojson", "accuracy.reports.as_geojson", True, "points and outlines in degrees"
        ),
        "fgdc/": Export(
            "fgdc",
            "accuracy.reports.as_fgdc",
            False,
            "FGDC CSDGM positional accuracy, one for a dataset",
        ),
        "iso19157/": Export(
            "iso19157",
            "accuracy.reports.as_iso",
            False,
            "ISO 19157 quality reports, one for a dataset",
        ),
        "survey-points.gpkg": Export(
            "survey-points",
            "accuracy.reports.as_survey_points",
            False,
            "survey points as USGS wants them",
        ),
        "plots/": Export(
            "plots", "accuracy.reports.as_plots", False, "every plot as SVG and as PNG"
        ),
    }
)

#: What ``accuracy report`` makes unless told otherwise.
REPORT = ("html", "pdf")


def kinds() -> tuple[str, ...]:
    """Give every word that asks for an export."""
    return tuple(export.kind for export in EXPORTS.values())


def render(result: Result, name: str) -> bytes:
    """Render one export by its file name."""
    content: bytes = importlib.import_module(EXPORTS[name].module).render(result)
    return content


def render_kinds(result: Result, wanted: Iterable[str]) -> dict[str, bytes]:
    """Render exports by the words that ask for them, in the order of `EXPORTS`: file name to content.

    With the record go the pictures whose hash it holds.
    """
    asked = set(wanted)
    files: dict[str, bytes] = {}
    for name, export in EXPORTS.items():
        if export.kind not in asked:
            continue
        if name.endswith("/"):
            several = importlib.import_module(export.module).render_files(result)
            files |= {f"{name}{its}": content for its, content in several.items()}
        else:
            files[name] = render(result, name)
        if export.kind == "json":
            from accuracy.reports.pictures import side_files

            files |= side_files(result)
    return files


def render_all(result: Result) -> dict[str, bytes]:
    """Render every export that a verification leaves in its folder."""
    return render_kinds(result, (e.kind for e in EXPORTS.values() if e.by_default))
