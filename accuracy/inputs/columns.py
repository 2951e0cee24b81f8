"""Which column of a point table means what: headers, synonyms of the trade, units, and letter orders."""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from accuracy.errors import InputError, Problem
from accuracy.findings import Finding, Severity
from accuracy.formats.tables import TextRow, TextTable, is_number
from accuracy.units import LengthUnit

#: Column -> (names of the documentation, synonyms of the trade), in lower case with ``_`` between words.
#: The synonyms are common practice, no source.
NAMES: Mapping[str, tuple[tuple[str, ...], tuple[str, ...]]] = MappingProxyType(
    {
        "id": (
            ("id",),
            (
                "point_id",
                "point",
                "pt",
                "p",
                "name",
                "point_name",
                "no",
                "number",
                "point_no",
                "station",
                "target",
            ),
        ),
        "easting": (("easting", "x"), ("east", "e")),
        "northing": (("northing", "y"), ("north", "n")),
        "longitude": (("lon",), ("longitude", "long", "lng")),
        "latitude": (("lat",), ("latitude",)),
        "height": (
            ("height", "z"),
            ("elevation", "elev", "el", "h", "up", "hgt", "alt", "altitude"),
        ),
        "cover": (("cover",), ("land_cover", "landcover", "cover_class", "land_cover_class")),
        "kind": (("kind",), ()),
        "survey_rmse_h_m": (("survey_rmse_h_m",), ()),
        "survey_rmse_v_m": (("survey_rmse_v_m",), ()),
        "date": (("date",), ("survey_date", "observation_date")),
        "method": (("method",), ("survey_method",)),
        "instrument": (("instrument",), ("receiver",)),
        "observer": (("observer",), ("surveyor",)),
        "photograph": (("photograph",), ("photo",)),
        "occupation": (("occupation",), ()),
        "epoch": (("epoch",), ("epoch_year", "coordinate_epoch")),
        "target_pattern": (("target_pattern",), ()),
        "target_size_m": (("target_size_m",), ()),
        "target_inner_m": (("target_inner_m",), ()),
        "description": (
            ("description",),
            ("desc", "code", "remark", "remarks", "comment", "comments", "note", "notes", "d"),
        ),
    }
)
LETTERS = MappingProxyType(
    {"P": "id", "N": "northing", "E": "easting", "Z": "height", "D": "description"}
)
_ROLES = MappingProxyType(
    {name: role for role, both in NAMES.items() for name in both[0] + both[1]}
)
_COORDINATES = frozenset({"easting", "northing", "height"})
_FOOT, _SURVEY_FOOT = LengthUnit.FOOT, LengthUnit.US_SURVEY_FOOT
#: Ending of a column name -> unit of length.
UNIT_ENDINGS = MappingProxyType(
    {
        **dict.fromkeys(("m", "metre", "metres", "meter", "meters"), LengthUnit.METRE),
        **dict.fromkeys(("ft", "foot", "feet", "ift", "intl_ft", "international_foot"), _FOOT),
        **dict.fromkeys(
            ("ftus", "usft", "us_ft", "us_survey_foot", "us_survey_feet"), _SURVEY_FOOT
        ),
    }
)
_BARE_FEET = frozenset({"ft", "foot", "feet"})
_DEGREES = frozenset({"deg", "degrees", "dd"})
_NEEDED = "id, easting (or x, lon), northing (or y, lat), height (or z)"


@dataclass(frozen=True)
class Layout:
    """What the columns of one table mean.

    Attributes
    ----------
    columns : mapping of str to int
        Role -> index of the column. Longitude stands under ``easting``, latitude under ``northing``.
    names : tuple of str
        The columns as written, for messages.
    header_rows : int
        Rows before the first point: 1 or 0.
    horizontal_unit, vertical_unit : LengthUnit or None
        Stated by column names.
    geographic : bool
        The columns are longitude and latitude in degrees.
    findings : tuple of Finding
        What was understood through a synonym, assumed or ignored.
    """

    columns: Mapping[str, int]
    names: tuple[str, ...]
    header_rows: int
    horizontal_unit: LengthUnit | None = None
    vertical_unit: LengthUnit | None = None
    geographic: bool = False
    findings: tuple[Finding, ...] = ()

    @property
    def takes_rest(self) -> bool:
        """Whether the last column is the description, which may hold delimiters."""
        return self.columns.get("description") == len(self.names) - 1


def layout_of(
    table: TextTable, order: str | None, roles: frozenset[str], needed: frozenset[str]
) -> Layout:
    """Find out what the columns mean.

    Parameters
    ----------
    table : TextTable
        The file; has at least one row.
    order : str or None
        Letters of `LETTERS`, already checked, for a file without a header.
    roles : frozenset of str
        Roles the caller uses; other known columns are ignored, with a finding.
    needed : frozenset of str
        Roles that must be there.

    Raises
    ------
    InputError
        A needed column is missing, two columns mean the same, or nothing says what the columns mean.
    """
    first = table.rows[0]
    headed = not any(is_number(cell) for cell in first.cells)
    if order is not None:
        return _layout_of_order(table, first, order, headed)
    if not headed or not any(_meaning(cell) for cell in first.cells):
        raise _unheaded(table, first, headed)
    return _layout_of_header(table, first, roles, needed)


def _layout_of_order(table: TextTable, first: TextRow, order: str, headed: bool) -> Layout:
    if headed and any(_meaning(cell) for cell in first.cells):
        raise InputError(
            f"order = {order!r} is for a table without a header, but the first row is one: "
            + ", ".join(first.cells),
            where=f"{table.path}{table.part}, {table.unit} {first.line}",
            remedy="remove `order` from the job file, or remove the header row",
        )
    roles = [LETTERS[letter] for letter in order.upper()]
    columns = {role: index for index, role in enumerate(roles)}
    return Layout(MappingProxyType(columns), tuple(roles), header_rows=0)


@dataclass(frozen=True)
class _Meaning:
    role: str
    canonical: bool
    unit: str  # suffix as written, "" where there is none


def _plain(name: str) -> str:
    """Lower case, ``_`` between words: ``Height (m)`` -> ``height_m``."""
    return re.sub(r"[\W_]+", "_", name.lower()).strip("_")


def _meaning(name: str) -> _Meaning | None:
    """Understand a column name, or None."""
    plain = _plain(name)
    if role := _ROLES.get(plain):
        return _Meaning(role, plain in NAMES[role][0], "")
    for suffix in (*UNIT_ENDINGS, *_DEGREES):
        base = plain.removesuffix(f"_{suffix}")
        role = _ROLES.get(base)
        angle = role in ("longitude", "latitude")
        if (
            base != plain
            and role
            and (angle or role in _COORDINATES)
            and angle == (suffix in _DEGREES)
        ):
            return _Meaning(role, base in NAMES[role][0], suffix)
    return None


def _layout_of_header(
    table: TextTable, first: TextRow, roles: frozenset[str], needed: frozenset[str]
) -> Layout:
    names = first.cells
    while names and not names[-1]:  # a delimiter at the end of the line
        names = names[:-1]
    meanings = [_meaning(name) for name in names]
    chosen, problems = _choose(names, meanings)
    geographic = "longitude" in chosen or "latitude" in chosen
    wanted = {"longitude", "latitude"} if geographic else {"easting", "northing"}
    if geographic and chosen.keys() & {"easting", "northing"}:
        problems.append(
            ("columns of degrees beside columns of lengths", "keep one pair, rename the other")
        )
    else:
        missing = sorted(((needed - {"easting", "northing"}) | wanted) - chosen.keys())
        if missing:
            problems.append(
                (f"no column for {', '.join(missing)}", f"needed: {_NEEDED}{_hints(names)}")
            )
    units = {
        role: UNIT_ENDINGS.get(unit) for role, (_, unit) in chosen.items() if role in _COORDINATES
    }
    if units.get("easting") is not units.get("northing") and not geographic and not problems:
        problems.append(("easting and northing state different units", "give both the same suffix"))
    if problems:
        raise InputError(
            "the header cannot be used: " + ", ".join(names),
            where=f"{table.path}{table.part}, {table.unit} {first.line}",
            problems=tuple(Problem(table.at(first.line), *problem) for problem in problems),
        )
    columns = {
        {"longitude": "easting", "latitude": "northing"}.get(role, role): index
        for role, (index, _) in chosen.items()
    }
    # The description stays known where it is not used: it may hold delimiters.
    kept = {
        role: index for role, index in columns.items() if role in roles or role == "description"
    }
    used = {index for role, index in kept.items() if role in roles}
    return Layout(
        MappingProxyType(kept),
        names,
        header_rows=1,
        horizontal_unit=units.get("easting"),
        vertical_unit=units.get("height"),
        geographic=geographic,
        findings=_header_findings(table, names, meanings, used),
    )


def _choose(
    names: tuple[str, ...], meanings: list[_Meaning | None]
) -> tuple[dict[str, tuple[int, str]], list[tuple[str, str]]]:
    """Pick one column for each role: the documented name before synonyms; two equals are a mistake."""
    chosen: dict[str, tuple[int, str]] = {}
    problems = []
    for role in NAMES:
        found = [(index, m) for index, m in enumerate(meanings) if m and m.role == role]
        best = [(index, m) for index, m in found if m.canonical] or found
        if len(best) > 1 and not (role == "description" and len({names[i] for i, _ in best}) > 1):
            both = " and ".join(repr(names[index]) for index, _ in best)
            problems.append((f"columns {both} both mean {role}", "rename those that are not meant"))
        if best:
            chosen[role] = (best[0][0], best[0][1].unit)
    return chosen, problems


def _header_findings(
    table: TextTable, names: tuple[str, ...], meanings: list[_Meaning | None], used: set[int]
) -> tuple[Finding, ...]:
    findings = []

    def note(code: str, message: str, column: str) -> None:
        where = f"{table.path.name}: "
        findings.append(Finding(code, Severity.NOTE, where + message, evidence={"column": column}))

    for index, (name, meaning) in enumerate(zip(names, meanings, strict=True)):
        if meaning is None or index not in used:
            if name:
                close = "" if meaning else _nearest(name)
                note("checkpoints-column-ignored", f"column {name!r} is not used{close}", name)
            continue
        if not meaning.canonical:
            text = f"column {name!r} is understood as {meaning.role}"
            note("checkpoints-order-assumed", text, name)
        if meaning.unit in _BARE_FEET:
            text = f"column {name!r} is read in international feet; US survey feet are named _ftus"
            note("checkpoints-foot-assumed", text, name)
    return tuple(findings)


def _nearest(name: str) -> str:
    close = difflib.get_close_matches(
        _plain(name), [n for both in NAMES.values() for n in both[0]], 1, 0.75
    )
    return f" (nearest known name: {close[0]})" if close else ""


def _hints(names: tuple[str, ...]) -> str:
    """Name the known names near to columns that are not understood."""
    hints = [f"{name!r}{near}" for name in names if not _meaning(name) and (near := _nearest(name))]
    return f"; not understood: {', '.join(hints)}" if hints else ""


def _unheaded(table: TextTable, first: TextRow, headed: bool) -> InputError:
    """Say what is there, show how two usual orders would read it, and ask."""
    where = f"{table.path}{table.part}, {table.unit} {first.line}"
    if headed:
        return InputError(
            "no column name is understood: " + ", ".join(first.cells) + _hints(first.cells),
            where=where,
            remedy=f"name the columns {_NEEDED}",
        )
    readings = []
    for order in ("PNEZD", "PENZD"):
        cells = first.folded(len(order), table.delimiter)
        if len(cells) in (4, 5):
            parts = (
                f"{LETTERS[letter]} {cell}" for letter, cell in zip(order, cells, strict=False)
            )
            used = order[: len(cells)]
            readings.append(Problem(f'order = "{used}"', "would read " + ", ".join(parts), ""))
    commented = next(
        (c for c in table.comments if sum(map(bool, map(_meaning, c.cells))) > 1), None
    )
    remedy = 'say the order of the columns in the job file: under [checkpoints], order = "PNEZD" or the like'
    remedy += f" (P point, N northing, E easting, Z height, D description), or add a header with {_NEEDED}"
    if commented:
        remedy += f"; line {commented.line} looks like such a header, but is a comment"
    return InputError(
        "the table has no header, and nothing says what its columns mean",
        where=where,
        remedy=remedy,
        problems=tuple(readings),
    )
