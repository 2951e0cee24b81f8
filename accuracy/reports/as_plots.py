"""Every plot of every dataset as files of its own: SVG and PNG."""

from __future__ import annotations

import re

from accuracy.reports.plots import PLOTS, plot_png, plot_svg
from accuracy.result import Result

#: XML needs to be told the encoding; the ground is white, so that a dark viewer hides nothing.
_PROLOG = '<?xml version="1.0" encoding="utf-8"?>\n'


def render_files(result: Result) -> dict[str, bytes]:
    """Give all plots that apply: file name to content.

    Names are ``NN-dataset-plot.svg`` and ``.png``, NN the number of the dataset in the job, so that two
    datasets never share a name; what a file system might mind in a name becomes a hyphen.
    """
    files = {}
    for number, dataset in enumerate(result.datasets, 1):
        for name in PLOTS:
            drawing = plot_svg(result, dataset.name, name, ground="white")
            picture = plot_png(result, dataset.name, name)
            if drawing is not None and picture is not None:
                stem = f"{number:02d}-{_harmless(dataset.name)}-{name}"
                files[f"{stem}.svg"] = (_PROLOG + drawing).encode("utf-8")
                files[f"{stem}.png"] = picture
    return files


def _harmless(name: str) -> str:
    """Make a part of a file name from any text: ASCII letters, digits and hyphens, at most 40."""
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")[:40].rstrip("-") or "dataset"
