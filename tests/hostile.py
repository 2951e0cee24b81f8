"""Text that a person or a file may hand in to harm a view: markup, formulas, controls, turned writing."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from drawn_result import make_result, make_rows

from accuracy.findings import Finding, Severity
from accuracy.georeferencing.carrying import Step
from accuracy.layout import Layout
from accuracy.result import LeftOut, Result, Transformation

HOSTILE = (
    "<script>alert(1)</script>",
    '" onmouseover="alert(1)',
    "</script><!--<script>",
    "]]></style><img src=x onerror=alert(1)>",
    "{{ 7 * 7 }}{% raw %}",
    "=HYPERLINK('x')",
    "\u202egnp.exe\u202c",
    "\u2066\u05d0\u05d1\u2069",
    "a\x00b\x1b[31m\r\n\u2028c",
    "$x^2$ \\frac & &amp; &lt;",
    "x" * 300,
    "\ufeff\u200b\ud7ff\U000e0041",
)


def hostile_result() -> Result:
    """Put every hostile text into every place that a person or a file can fill."""
    names = dict(enumerate(HOSTILE))
    result = make_result(make_rows(40, names=names, horizontal=True), dataset=HOSTILE[0])
    everywhere = " | ".join(HOSTILE)
    dataset = result.datasets[0]
    rows = tuple(
        replace(row, description=HOSTILE[i % len(HOSTILE)], detail=HOSTILE[i % len(HOSTILE)])
        for i, row in enumerate(dataset.residuals)
    )
    claim = replace(dataset.claims[0], statement=everywhere, reason=everywhere, title=everywhere)
    about: dict[str, Any] = dict.fromkeys(
        ("title", "site", "prepared_for", "prepared_by", "flown"), everywhere
    )
    report = dict.fromkeys(("number", "revision", "signer", "licence"), everywhere)
    return replace(
        result,
        job={"job": about, "report": report},
        datasets=(replace(dataset, residuals=rows, claims=(claim,)),),
        excluded=tuple(LeftOut(text, text) for text in HOSTILE),
        control=HOSTILE,
        findings=(
            Finding(
                "crs-unknown", Severity.BLOCKING, everywhere, dataset=everywhere, remedy=everywhere
            ),
        ),
        cautions=(everywhere,),
        transformations=(
            Transformation(
                everywhere, everywhere, everywhere, "transformed", "differs", (Step(everywhere),)
            ),
        ),
        layout=Layout(40, 30, 10, 2, 1),
    )
