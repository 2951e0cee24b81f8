"""The library of standards: numbers, wording and citations as data, loaded from TOML and checked.

A standard's file never holds a formula, only the name of an estimator of `accuracy.stats`. A client's own
specification is the same kind of file, kept beside the job. A new edition is a new file.
"""

from __future__ import annotations

from accuracy.standards.library.line_rules import QUANTITIES, LineOperator, LineRule
from accuracy.standards.library.marks import Part, Verification
from accuracy.standards.library.reading import ESTIMATORS, parse_standard, parse_survey_methods
from accuracy.standards.library.records import (
    UNITS,
    ClaimKey,
    Expectation,
    Limit,
    Measure,
    Minimum,
    Rule,
    Standard,
    SurveyError,
    SurveyMethod,
    SurveyRule,
    Wording,
    WorkedExample,
)
from accuracy.standards.library.shelf import check_claim, list_standards, load_standard
from accuracy.standards.library.siting_records import (
    AreaCount,
    Confirm,
    ControlShare,
    Distribution,
    HeightProcedure,
    LayoutRules,
    Siting,
    Source,
)

__all__ = [
    "ESTIMATORS",
    "QUANTITIES",
    "UNITS",
    "AreaCount",
    "ClaimKey",
    "Confirm",
    "ControlShare",
    "Distribution",
    "Expectation",
    "HeightProcedure",
    "LayoutRules",
    "Limit",
    "LineOperator",
    "LineRule",
    "Measure",
    "Minimum",
    "Part",
    "Rule",
    "Siting",
    "Source",
    "Standard",
    "SurveyError",
    "SurveyMethod",
    "SurveyRule",
    "Verification",
    "Wording",
    "WorkedExample",
    "check_claim",
    "list_standards",
    "load_standard",
    "parse_standard",
    "parse_survey_methods",
]
