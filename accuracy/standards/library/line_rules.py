"""What a document wants of flight lines: overlap, precision, density, gaps; read from the end of its file.

A rule names a quantity that `accuracy.flightlines` measures; the document gives the limit, the tool the way
of measuring. Units are those of the quantity: metres, points per square metre, shares, counts.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from types import MappingProxyType
from typing import Literal

from accuracy.errors import Problem
from accuracy.standards.library.marks import Verification
from accuracy.standards.library.reader import Reader, nearest
from accuracy.standards.library.records import UNITS, ClaimKey

LineOperator = Literal["<=", "<", ">="]

#: Kinds of quantities, with the units a file may use and what one of them is in the unit of the kind.
KINDS: Mapping[str, Mapping[str, Fraction]] = MappingProxyType(
    {
        "length": UNITS,
        "density": MappingProxyType({"per-m2": Fraction(1)}),
        "share": MappingProxyType({"percent": Fraction(1, 100)}),
        "count": MappingProxyType({"count": Fraction(1)}),
    }
)


@dataclass(frozen=True)
class Quantity:
    """Something measured on flight lines: its kind, and what its evidence is counted in."""

    kind: Literal["length", "density", "share", "count"]
    counted: str
    what: str


def counted(n: int, what: str) -> str:
    """Say how many, in the singular where it is one.

    Examples
    --------
    >>> counted(1, "pairs"), counted(2, "lines")
    ('1 pair', '2 lines')
    """
    return f"{n} {what[:-1] if n == 1 else what}"


#: Quantities a rule may name.
QUANTITIES: Mapping[str, Quantity] = MappingProxyType(
    {
        "swath-rmsd": Quantity("length", "cells", "RMSD of heights between lines, all pairs"),
        "swath-max": Quantity("length", "cells", "largest height difference between lines"),
        "pair-rmsd-largest": Quantity("length", "pairs", "largest RMSD of one pair of lines"),
        "pair-mean-largest": Quantity(
            "length", "pairs", "largest mean difference of a pair, without its sign"
        ),
        "precision-rmsd": Quantity(
            "length", "cells", "RMSD of the slope-corrected range in cells of one line"
        ),
        "precision-max": Quantity(
            "length", "cells", "largest slope-corrected range in a cell of one line"
        ),
        "precision-thickness": Quantity(
            "length", "cells", "standard deviation about planes in hard cells of one line"
        ),
        "density-single-swath": Quantity(
            "density", "lines", "first returns per square metre of single lines, usable centre"
        ),
        "density-aggregate": Quantity(
            "density", "lines", "first returns per square metre of all lines together"
        ),
        "voids-open": Quantity(
            "count", "voids", "voids of (4 x ANPS)^2 or more that no other line fills"
        ),
        "distribution-share": Quantity(
            "share", "cells", "cells of 2 x design ANPS that hold a first return of the line"
        ),
        "overlap-least": Quantity("length", "pairs", "least overlap of neighbouring lines"),
        "duplicate-points": Quantity("count", "points", "points that occur more than once"),
    }
)


@dataclass(frozen=True)
class LineLimit:
    """A limit: a fixed `value`, `factor` times what the claim gives for `key`, or from a `table` by it.

    `per_unit` is the size of its unit in the unit of the quantity's kind.
    """

    unit: str
    per_unit: Fraction
    key: str | None = None
    factor: float | None = None
    table: Mapping[str, float] | None = None
    value: float | None = None

    def number(self, claimed: Mapping[str, object]) -> float | None:
        """Give the limit in the unit of its kind; None where the claim does not give the key."""
        if self.key is None:
            number = Fraction(repr(self.value))
        elif self.key not in claimed:
            return None
        elif self.table is not None:
            number = Fraction(repr(self.table[str(claimed[self.key])]))
        else:
            number = Fraction(repr(self.factor)) * Fraction(str(claimed[self.key]))
        return float(number * self.per_unit)


@dataclass(frozen=True)
class LineRule:
    """One demand on flight lines.

    Attributes
    ----------
    limit : LineLimit or None
        None: reported as found.
    binding : bool
        Whether it decides; where not, a value beyond the limit is remarked.
    at_least : int
        Fewest of what the quantity counts for a statement; 0 where the document names none.
    confirm : bool
        A value beyond the limit is no failure before people have looked at the causes.
    """

    id: str
    name: str
    quantity: str
    operator: LineOperator
    binding: bool
    cite: str
    verification: Verification
    limit: LineLimit | None = None
    at_least: int = 0
    confirm: bool = False

    @property
    def measured(self) -> Quantity:
        """What the rule is about."""
        return QUANTITIES[self.quantity]


@dataclass(frozen=True)
class DesignSpacing:
    """The spacing (ANPS) that a claim is designed for where the job states none."""

    limit: LineLimit
    cite: str
    verification: Verification


def read_line_rules(top: Reader, keys: Sequence[ClaimKey]) -> tuple[LineRule, ...]:
    """Read ``[[line_rule]]``; mistakes are noted."""
    rules = tuple(_rule(reader, keys) for reader in top.tables("line_rule"))
    names = [rule.id for rule in rules]
    top.problems += [
        Problem("line_rule.id", f"{name!r} is used twice", "give each its own")
        for name in sorted({n for n in names if names.count(n) > 1})
    ]
    return rules


def read_design_spacing(top: Reader, keys: Sequence[ClaimKey]) -> DesignSpacing | None:
    """Read ``[line_spacing]``; None where there is none."""
    reader = top.table_at("line_spacing")
    if reader is None:
        return None
    cite, verification = reader.source()
    limit = _limit(reader.table_at("limit"), keys, "length", reader)
    reader.finish()
    return DesignSpacing(limit, cite, verification)


def _rule(reader: Reader, keys: Sequence[ClaimKey]) -> LineRule:
    cite, verification = reader.source()
    quantity = reader.text("quantity", choices=tuple(QUANTITIES))
    limited = "limit" in reader.table
    limit = None
    if limited and quantity in QUANTITIES:
        limit = _limit(reader.table_at("limit"), keys, QUANTITIES[quantity].kind, reader)
    rule = LineRule(
        id=reader.text("id"),
        name=reader.text("name"),
        quantity=quantity,
        operator=reader.text("operator", choices=("<=", "<", ">=")) if limited else "<=",
        binding=reader.flag("binding") if limited else False,
        cite=cite,
        verification=verification,
        limit=limit,
        at_least=reader.integer("at_least") if "at_least" in reader.table else 0,
        confirm=reader.flag("confirm", required=False),
    )
    if not limited:
        reader.asked += ["limit", "operator", "binding"]
    reader.finish()
    return rule


def _limit(reader: Reader | None, keys: Sequence[ClaimKey], kind: str, whole: Reader) -> LineLimit:
    units = KINDS[kind]
    none = LineLimit(next(iter(units)), Fraction(1), value=1.0)
    if reader is None:
        whole.wrong("limit", "is missing", "give { value, unit } or { key, table, unit }")
        return none
    known = {key.name: key for key in keys}
    name = reader.text("key", required=False) or None
    table = reader.table_at("table") if name else None
    if name is not None and name not in known:
        reader.wrong("key", f"{name!r} is not a claim key of this file", nearest(name, [*known]))
        return none
    if name is not None and table is None:
        key = known[name]
        if key.unit is None or kind != "length":
            reader.wrong("table", "is missing", f"give a table of the values of {name}")
            return none
        limit = LineLimit(key.unit, UNITS[key.unit], name, factor=reader.number("factor") or 1.0)
    else:
        unit = reader.text("unit", choices=tuple(units))
        per_unit = units.get(unit, Fraction(1))
        if table is None:
            value = reader.number("value", positive=False)
            limit = LineLimit(unit, per_unit, value=0.0 if value is None else value)
        else:
            entries = {entry: table.number(entry) or 0.0 for entry in table.table}
            limit = LineLimit(unit, per_unit, name, table=MappingProxyType(entries))
            missing = set(known[str(name)].choices) ^ set(entries)
            if missing:
                listed = ", ".join(sorted(missing))
                reader.wrong(
                    "table", f"{listed} not on both sides", f"one row for each choice of {name}"
                )
    reader.finish()
    return limit
