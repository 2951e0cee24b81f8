"""Targets picked by hand: a page with an enlarged picture of each, and the table that comes of it.

The page shows each target twice, in two shuffled passes with pictures that are cut differently, and knows
nothing of the survey: a picture is cut around a place that is off the surveyed one by chance, so that neither
the middle of a picture nor anything in the page tells where the target was surveyed.
"""

from __future__ import annotations

from accuracy.pick.page import pick_page
from accuracy.pick.picked import PickedTable, read_picks, tables_of
from accuracy.pick.scenes import Scene, make_scenes

__all__ = ["PickedTable", "Scene", "make_scenes", "pick_page", "read_picks", "tables_of"]
