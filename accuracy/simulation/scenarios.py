"""The scenarios: invented sites, flown by invented crews, each good for seeing something else.

`accuracy.simulation.memory.simulate` flies one without writing files; `accuracy.simulation.folder` writes a
folder that `accuracy verify` runs.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from types import MappingProxyType

from accuracy.errors import UsageError
from accuracy.simulation.grounds import all_scenarios
from accuracy.simulation.scenario_record import SILENT, Noise, Pass, Payload, Scenario

__all__ = ["SCENARIOS", "SILENT", "Noise", "Pass", "Payload", "Scenario", "scenario"]

SCENARIOS: Mapping[str, Scenario] = MappingProxyType({each.name: each for each in all_scenarios()})


def scenario(name: str) -> Scenario:
    """Give the scenario of that name.

    Raises
    ------
    UsageError
        There is none; the nearest name is offered.
    """
    if name in SCENARIOS:
        return SCENARIOS[name]
    close = difflib.get_close_matches(name.lower(), SCENARIOS, 1, 0.5)
    hint = f"; did you mean {close[0]}?" if close else ""
    raise UsageError(
        f"there is no scenario {name!r}{hint}", remedy=f"the scenarios are {', '.join(SCENARIOS)}"
    )
