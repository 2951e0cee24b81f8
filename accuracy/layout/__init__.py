"""Number and places of the checkpoints: counts, the area they stand in, and what documents want of both.

``counts`` counts by role and cover and finds points that are too near to others, ``footprint`` finds the area
that a deliverable covers, ``outline`` brings the outline of ``[area]`` to its frame, ``rules`` holds what the
documents want, ``distribution`` and ``siting`` compare, ``documents`` puts facts and findings together.
"""

from __future__ import annotations

from accuracy.layout.counts import Layout, lay_out, place_numbers, same_places
from accuracy.layout.records import CoverLayout, DocumentLayout

__all__ = [
    "CoverLayout",
    "DocumentLayout",
    "Layout",
    "lay_out",
    "place_numbers",
    "same_places",
]
