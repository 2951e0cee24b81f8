"""What a checkpoint table says of the target at each point."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from accuracy.inputs.rows import Cells

#: Word in the table -> pattern; ``none``: no target at this point.
PATTERN_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "checkerboard": "checkerboard",
        "disc": "disc",
        "ring": "ring",
        "plate": "plate",
        "none": "none",
    }
)
COLUMNS = frozenset({"target_pattern", "target_size_m", "target_inner_m"})


@dataclass(frozen=True)
class StatedTarget:
    """A target as its row states it; None where the row is silent. Lengths in metres."""

    pattern: str | None = None
    size_m: float | None = None
    inner_m: float | None = None


def stated_target(cells: Cells) -> StatedTarget | None:
    """Read the columns of one row; None where it says nothing."""
    pattern = cells.choice("target_pattern", PATTERN_WORDS)
    sizes = []
    for role in ("target_size_m", "target_inner_m"):
        value = cells.optional_number(role)
        if value is not None and not 0.0 < value <= 10.0:
            cells.refuse(role, f"{value:g}", "metres, above 0 and at most 10")
            value = None
        sizes.append(value)
    if pattern is None and sizes == [None, None]:
        return None
    return StatedTarget(pattern, *sizes)
