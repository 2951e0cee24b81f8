"""Reference systems: from literal evidence to what the coordinates mean, and whether two sides agree.

What other layers use, in the order in which they use it. How it is done stands in the modules beside this
one: `systems` (the door to pyproj), `declaration` (what a person writes), `geokeys` and `evidence` (what
files say), `table_units` (what columns say), `agreement` (the comparison).
"""

from __future__ import annotations

from accuracy.georeferencing.agreement import agree
from accuracy.georeferencing.declaration import declared
from accuracy.georeferencing.evidence import interpret, supplement
from accuracy.georeferencing.record import (
    UNKNOWN,
    Agreement,
    HorizontalKind,
    Reference,
    Verdict,
    VerticalKind,
)
from accuracy.georeferencing.table_units import with_units

__all__ = [
    "UNKNOWN",
    "Agreement",
    "HorizontalKind",
    "Reference",
    "Verdict",
    "VerticalKind",
    "agree",
    "declared",
    "interpret",
    "supplement",
    "with_units",
]
