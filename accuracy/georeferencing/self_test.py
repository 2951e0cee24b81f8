"""Published coordinates, computed anew: whether the numerical libraries still are what they were.

The figures stand in ``published.toml`` with their sources. They take the same way as the checkpoints of a job:
declaration, plan, carrying.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from importlib import resources
from typing import Any

import numpy as np

from accuracy.findings import Severity
from accuracy.georeferencing.declaration import declared
from accuracy.georeferencing.library import epsg_version, proj_version
from accuracy.georeferencing.transform import Places, plan
from accuracy.units import LengthUnit


@dataclass(frozen=True)
class Value:
    """One published coordinate or constant, and what comes out here.

    Attributes
    ----------
    published, computed, difference, tolerance : float
        In `unit`; `difference` is computed minus published. `computed` is None where the way is refused.
    problem : str
        Why nothing was computed; empty where something was.
    """

    axis: str
    unit: str
    published: float
    computed: float | None
    tolerance: float
    problem: str = ""

    @property
    def difference(self) -> float | None:
        """Computed minus published."""
        return None if self.computed is None else self.computed - self.published

    @property
    def agrees(self) -> bool:
        """Whether the difference is within the tolerance."""
        return self.difference is not None and abs(self.difference) <= self.tolerance


@dataclass(frozen=True)
class Check:
    """One entry of the published values.

    Attributes
    ----------
    id, what, source, basis : str
        As in the file.
    way : tuple of str
        Codes of the operations and names of the projections that were applied.
    values : tuple of Value
        One per axis.
    """

    id: str
    what: str
    source: str
    basis: str
    way: tuple[str, ...]
    values: tuple[Value, ...]

    @property
    def agrees(self) -> bool:
        """Whether all its values agree."""
        return all(value.agrees for value in self.values)


@dataclass(frozen=True)
class SelfTest:
    """All checks, with the versions that computed them."""

    proj: str
    epsg: str
    checks: tuple[Check, ...]

    @property
    def agrees(self) -> bool:
        """Whether every published value came out; never for an empty list."""
        return bool(self.checks) and all(check.agrees for check in self.checks)


def published() -> dict[str, list[dict[str, Any]]]:
    """Read the shipped values."""
    folder = resources.files("accuracy.georeferencing")
    text = folder.joinpath("published.toml").read_text("utf-8")
    return tomllib.loads(text)


def self_test(entries: Mapping[str, Sequence[Mapping[str, Any]]] | None = None) -> SelfTest:
    """Compute published values anew.

    Parameters
    ----------
    entries : mapping, optional
        In the form of ``published.toml``; the shipped ones by default.
    """
    entries = published() if entries is None else entries
    checks = [_carried(entry) for entry in entries.get("value", ())]
    checks += [_unit(entry) for entry in entries.get("unit", ())]
    return SelfTest(proj_version(), epsg_version(), tuple(checks))


def _carried(entry: Mapping[str, Any]) -> Check:
    source = declared(entry["from"], epoch_year=entry.get("epoch"))
    # Both ends carry the epoch where they move; a plate-fixed one takes none.
    target = declared(entry["to"])
    if target.dynamic:
        target = declared(entry["to"], epoch_year=entry.get("epoch"))
    given = [*map(float, entry["given"]), 0.0][:3]
    x, y, z = (np.array([value]) for value in given)
    places = Places((entry["id"],), x, y, z, np.ones(1, dtype=np.bool_))
    way = plan(source, target, dataset_name=entry["id"], places=places)
    published = [float(value) for value in entry["published"]]
    spatial = len(published) == 3
    refusals = [
        finding.message
        for finding in way.findings
        if finding.severity is Severity.BLOCKING and (spatial or finding.component != "vertical")
    ]
    computed: list[float | None] = [None] * 3
    if not refusals:
        computed = [float(values[0]) for values in way.apply(x, y, z)]
    tolerance = entry["tolerance"]
    tolerances = tolerance if isinstance(tolerance, list) else [tolerance] * len(published)
    axes, units = _axes(target.horizontal_kind, target.horizontal_unit)
    values = tuple(
        Value(axes[i], units[i], published[i], computed[i], tolerances[i], "; ".join(refusals))
        for i in range(len(published))
    )
    names = tuple(
        (step.code if step.parameters else step.operation) or step.what
        for step in way.steps
        if step.operation is not None
    )
    return _check(entry, names, values)


def _axes(kind: str, unit: LengthUnit | None) -> tuple[tuple[str, ...], tuple[str, ...]]:
    if kind == "geographic":
        return ("longitude", "latitude", "height"), ("degree", "degree", "m")
    symbol = unit.symbol if unit is not None else "?"
    names = ("X", "Y", "Z") if kind == "geocentric" else ("easting", "northing", "height")
    return names, (symbol,) * 3


def _unit(entry: Mapping[str, Any]) -> Check:
    """Hold a definition against ours and against the registry's of the same code."""
    from pyproj.database import get_units_map

    unit = LengthUnit(entry["unit"])
    factors = {
        found.conv_factor
        for found in get_units_map(auth_name="EPSG", category="linear").values()
        if found.code == str(unit.epsg)
    }
    size, tolerance = float(entry["published_m"]), float(entry["tolerance_m"])
    values = [Value("in this tool", "m", size, float(unit.metres), tolerance)]
    values += [Value("in the registry", "m", size, factor, tolerance) for factor in factors]
    return _check(entry, (), tuple(values))


def _check(entry: Mapping[str, Any], way: tuple[str, ...], values: tuple[Value, ...]) -> Check:
    return Check(
        id=entry["id"],
        what=entry["what"],
        source=entry["source"],
        basis=entry["basis"],
        way=way,
        values=values,
    )


def self_test_data(test: SelfTest) -> dict[str, Any]:
    """Give it as what JSON can hold."""
    return {
        "agrees": test.agrees,
        "proj": test.proj,
        "epsg": test.epsg,
        "checks": [
            {
                "id": check.id,
                "what": check.what,
                "source": check.source,
                "basis": check.basis,
                "way": list(check.way),
                "agrees": check.agrees,
                "values": [
                    asdict(value) | {"difference": value.difference, "agrees": value.agrees}
                    for value in check.values
                ],
            }
            for check in test.checks
        ],
    }
