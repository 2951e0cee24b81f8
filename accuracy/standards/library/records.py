"""What a standard's file says, as frozen records. Every record with a number carries its source."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from types import MappingProxyType
from typing import TYPE_CHECKING, Literal

from accuracy.standards.library.marks import Component, Cover, Part, Verification
from accuracy.standards.library.siting_records import HeightProcedure, LayoutRules
from accuracy.units import LengthUnit

if TYPE_CHECKING:
    from accuracy.standards.library.line_rules import DesignSpacing, LineRule

#: Units a standard's file may use, with their length in metres.
UNITS: Mapping[str, Fraction] = MappingProxyType(
    {
        "m": Fraction(1),
        "cm": Fraction(1, 100),
        "mm": Fraction(1, 1000),
        "foot": LengthUnit.FOOT.metres,
        "us-survey-foot": LengthUnit.US_SURVEY_FOOT.metres,
    }
)

_PARTS: Mapping[str, Part] = MappingProxyType(
    {
        "up": "vertical",
        "east": "horizontal",
        "north": "horizontal",
        "horizontal": "horizontal",
        "3d": "3d",
    }
)


#: Of a document that says nothing of number and places of the points.
NO_LAYOUT = LayoutRules()


@dataclass(frozen=True)
class ClaimKey:
    """A key that a claim may give: a length (class or limit) in `unit`, or one of `choices`."""

    name: str
    meaning: str
    kind: Literal["length", "choice"] = "length"
    unit: str | None = None
    choices: tuple[str, ...] = ()
    required: bool = False


@dataclass(frozen=True)
class Limit:
    """A limit: a fixed `value`, or `factor` times what the claim gives for `key`, or from a `table` by it.

    Attributes
    ----------
    unit : str
        Unit of `value`, of the table, or of the key's lengths; a key of `UNITS`.
    factor_text : str
        The factor as written where it is a fraction, such as ``1/3``, which no float is.
    """

    unit: str
    key: str | None = None
    factor: float | None = None
    table: Mapping[str, float] | None = None
    value: float | None = None
    factor_text: str = ""

    def metres(self, claimed: Mapping[str, object]) -> float | None:
        """Give the limit in metres; None where the claim does not give the key.

        Multiplied as decimals: 3 times 10 cm is exactly the number written 0.3.
        """
        if self.key is None:
            number = Fraction(repr(self.value))
        elif self.key not in claimed:
            return None
        elif self.table is not None:
            number = Fraction(repr(self.table[str(claimed[self.key])]))
        else:
            factor = Fraction(self.factor_text or repr(self.factor))
            number = factor * Fraction(str(claimed[self.key]))
        return float(number * UNITS[self.unit])


@dataclass(frozen=True)
class Measure:
    """One statistic that the document wants: with a limit (requirement) or as found (report).

    Where `each_land_cover`, it is of one land cover at a time: of every one that the points name, except
    `except_land_covers`.
    """

    id: str
    name: str
    component: Component
    cover: Cover
    estimator: str
    survey_error_included: bool
    cite: str
    verification: Verification
    limit: Limit | None = None
    operator: Literal["<=", "<"] = "<="
    each_land_cover: bool = False
    except_land_covers: tuple[str, ...] = ()

    @property
    def part(self) -> Part:
        """Which statement the measure belongs to."""
        return _PARTS[self.component]


@dataclass(frozen=True)
class Minimum:
    """Fewest points for a statement; where not `binding`, fewer are a finding only.

    Where `each_land_cover`, so many in every land cover that the points name; never binding.
    """

    part: Part
    cover: Cover
    minimum: int
    binding: bool
    cite: str
    verification: Verification
    each_land_cover: bool = False


@dataclass(frozen=True)
class SurveyRule:
    """How much better than the limit the survey must be.

    `ratio` is None where the document only wants a source of higher accuracy. Where `binding`, a survey
    known to be too coarse forbids a statement.
    """

    ratio: float | None
    binding: bool
    cite: str
    verification: Verification


@dataclass(frozen=True)
class SurveyMethod:
    """Survey accuracy that the document gives by method, for surveys that state none."""

    id: str
    name: str
    rmse_h_m: float | None
    rmse_v_m: float | None
    cite: str
    verification: Verification


@dataclass(frozen=True)
class SurveyError:
    """Where the formula stands that adds the survey's own error, in quadrature, to the error found."""

    cite: str
    verification: Verification


@dataclass(frozen=True)
class Rule:
    """A screen relative to the limit on the RMSE.

    ``mean-error``: the mean of each axis against `factor` times the limit. ``blunder``: each residual.
    """

    kind: Literal["mean-error", "blunder"]
    factor: float
    operator: Literal["<=", "<"]
    binding: bool
    cite: str
    verification: Verification


@dataclass(frozen=True)
class Wording:
    """The document's own words, with ``{placeholders}``.

    Attributes
    ----------
    kind : {"tested", "reduced", "reported"}
        ``tested``: all limits are met. ``reduced``: fewer points than the minimum. ``reported``: the value
        as found, with no limit in it.
    text : str
        Placeholders: ids of measures, names of claim keys, ``n``, ``minimum``, ``unit``.
    vegetated_text : str
        Added where there are vegetated points.
    unit : str
        Unit of the values: a key of `UNITS`, or ``display`` for the unit that the reader asked for.
    """

    kind: Literal["tested", "reduced", "reported"]
    part: Part
    text: str
    vegetated_text: str
    unit: str
    cite: str
    verification: Verification


@dataclass(frozen=True)
class Expectation:
    """One published result of a worked example, in metres, printed with so many decimals."""

    component: Component
    cover: Cover
    statistic: str
    survey_error_included: bool
    value: float
    decimals: int


@dataclass(frozen=True)
class WorkedExample:
    """Residuals with published or derived results: the standard's own test.

    `passes` says for measures by id whether they keep the limit of `claim`.
    """

    name: str
    east_m: tuple[float, ...]
    north_m: tuple[float, ...]
    up_m: tuple[float, ...]
    vegetated: bool
    survey_rmse_h_m: float | None
    survey_rmse_v_m: float | None
    expect: tuple[Expectation, ...]
    claim: Mapping[str, float | str]
    passes: Mapping[str, bool]
    cite: str
    verification: Verification


@dataclass(frozen=True)
class Standard:
    """One edition of one document, or a client's specification.

    Attributes
    ----------
    survey_error : SurveyError or None
        Of the measures that include the survey error; None where there are none.
    procedures : tuple of HeightProcedure
        How heights of a point cloud are taken; any of them will do. Empty: the document does not say.
    layout : LayoutRules
        What it wants of number and places of the points.
    line_rules : tuple of LineRule
        What is wanted of flight lines; see `accuracy.standards.library.line_rules`.
    line_spacing : DesignSpacing or None
        The spacing that a claim is designed for.
    client_file, sha256 : str
        Of a client's own file: its path as the job writes it, and the SHA-256 of its bytes. Empty for
        packaged standards.
    """

    id: str
    title: str
    edition: str
    document: str
    date: str
    url: str
    note: str
    superseded_by: str
    class_required: bool
    source: str
    claim_keys: tuple[ClaimKey, ...]
    requirements: tuple[Measure, ...]
    reports: tuple[Measure, ...]
    minimums: tuple[Minimum, ...]
    survey: SurveyRule | None
    survey_methods: tuple[SurveyMethod, ...]
    rules: tuple[Rule, ...]
    wordings: tuple[Wording, ...]
    worked_examples: tuple[WorkedExample, ...]
    survey_error: SurveyError | None = None
    procedures: tuple[HeightProcedure, ...] = ()
    layout: LayoutRules = NO_LAYOUT
    line_rules: tuple[LineRule, ...] = ()
    line_spacing: DesignSpacing | None = None
    client_file: str = ""
    sha256: str = ""

    @property
    def label(self) -> str:
        """What the standard is called in a result: its id, or whose file it is and which."""
        if not self.client_file:
            return self.id
        return f'client\'s own specification "{self.id}", file {self.client_file}, SHA-256 {self.sha256}'

    @property
    def full_title(self) -> str:
        """Title with edition, for print."""
        return f"{self.title}, {self.edition}" if self.edition else self.title

    def wording(self, kind: str, part: str) -> Wording | None:
        """Give the document's words for a case, or None where it has none."""
        return next((w for w in self.wordings if (w.kind, w.part) == (kind, part)), None)
