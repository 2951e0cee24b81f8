"""The report as PDF for signature: PDF/A-2b, fonts embedded, the same bytes for the same record.

Fonts are those inside typst and DejaVu Sans as it comes with matplotlib, never those of the machine: the pages
look the same everywhere. Only where a text has characters that DejaVu Sans lacks (Chinese, Japanese, Korean
names) the machine's fonts are asked as well; without one the character is printed as a box with a mark of its
script.
"""

from __future__ import annotations

import json
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any, Final

from accuracy.errors import ResultError
from accuracy.reports.pdf_content import content
from accuracy.result import Result

TEMPLATE = "report.typ"

#: For archives: everything embedded, nothing that runs. (ISO 19005-2, level B.)
STANDARD: Final = "a-2b"


def render(result: Result) -> bytes:
    """Give ``report.pdf``.

    Raises
    ------
    ResultError
        The typesetter refuses the record.
    """
    return typeset(content(result))


def typeset(data: dict[str, Any], template: str = TEMPLATE) -> bytes:
    """Set the content in a packaged template; see `pdf_content.content`."""
    import typst

    text = json.dumps(data, ensure_ascii=False, allow_nan=False)
    ways: list[tuple[list[Any], bool]] = [([_fonts()], True)]
    if not set(map(ord, text)) <= _covered():
        ways.insert(0, (sorted(_fonts().glob("DejaVuSans*.ttf")), False))
    source = resources.files("accuracy.reports").joinpath("templates", template).read_bytes()
    problem = ""
    for fonts, ignore_system_fonts in ways:
        try:
            pdf: bytes = typst.compile(
                source,
                font_paths=fonts,
                ignore_system_fonts=ignore_system_fonts,
                sys_inputs={"data": text},
                pdf_standards=STANDARD,
            )
            return pdf
        except typst.TypstError as error:  # a character without a shape, in the first way
            problem = error.diagnostic or error.message
    raise ResultError(
        f"the PDF cannot be made: {problem}",
        where="report.pdf",
        remedy="use report.html, and report this with the result.json",
    )


def _fonts() -> Path:
    import matplotlib

    return Path(matplotlib.get_data_path()) / "fonts" / "ttf"


@cache
def _covered() -> frozenset[int]:
    """Give the characters that DejaVu Sans has a shape for, and those that need none."""
    from matplotlib.ft2font import FT2Font

    shapes = FT2Font(str(_fonts() / "DejaVuSans.ttf")).get_charmap()
    return frozenset(shapes) | {0x200B}
