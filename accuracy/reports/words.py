"""Words and numbers as they are printed, the same in every view."""

from __future__ import annotations

import re
import unicodedata
from typing import TYPE_CHECKING

from accuracy.sampling import Patch
from accuracy.standards.judge import Check
from accuracy.stats import show, show_both
from accuracy.units import LengthUnit, from_metres

if TYPE_CHECKING:
    from accuracy.result import ClaimResult

VERDICT_WORDS = {
    "passes": "PASSES",
    "fails": "FAILS",
    "no-statement": "NO STATEMENT",
    "reported": "REPORTED",
    "none": "NOTHING CLAIMED",
}


def printable(text: str) -> str:
    """Make text from a file harmless on a terminal and in plain text: control characters become visible."""
    return "".join(
        character
        if unicodedata.category(character) not in ("Cc", "Cf", "Cs", "Co", "Cn")
        else "\ufffd"
        for character in text
    )


def standard_name(claim: ClaimResult) -> str:
    """Name the document of a claim in a table or beside a drawing: without the hash of a client's own file.

    The hash stands in the statement and in the list of files.
    """
    return document_name(claim.standard)


def document_name(label: str) -> str:
    """Name a document by its label in the record; see `standard_name`."""
    return printable(re.sub(r", SHA-256 [0-9a-f]{64}$", "", label))


def printable_lines(text: str) -> str:
    """Make text of several lines harmless, line by line."""
    return "\n".join(map(printable, text.split("\n")))


def length(
    value_m: float | None, unit: LengthUnit, *, decimals: int = 3, sign: bool = False
) -> str:
    """Print a length in the display unit; a missing one as a dash."""
    if value_m is None:
        return "-"
    value = round(from_metres(value_m, unit), decimals) + 0.0
    return f"{value:+.{decimals}f}" if sign else f"{value:.{decimals}f}"


def neighbourhood_text(patch: Patch, unit: LengthUnit) -> str:
    """Print the neighbourhood that heights were taken from."""
    size = f"{length(patch.across_m, unit)} {unit.symbol}"
    across = f"diameter {size}" if patch.shape == "circle" else f"side {size}"
    return f"a {patch.shape} of {across}, at least {patch.least_points} ground points"


def check_text(check: Check, unit: LengthUnit, *, decimals: int = 4) -> str:
    """Print one check: name, value, operator, limit, unit, number of points; digits never contradict it."""
    name = f"{check.name}, survey error included" if check.survey_error_included else check.name
    if check.value is None:
        return f"{name}: no value, n = {check.n}"
    if check.limit is None or check.operator is None:
        value = show(check.value, decimals=decimals, per_unit=unit.metres)
        return f"{name}: {value} {unit.symbol}, n = {check.n}"
    value, limit = show_both(check.value, check.limit, check.operator, decimals, unit.metres)
    sense = check.operator if check.passes else {"<=": ">", "<": ">="}[check.operator]
    return f"{name}: {value} {sense} {limit} {unit.symbol}, n = {check.n}"
