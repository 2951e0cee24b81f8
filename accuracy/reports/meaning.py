"""What the figures mean and what they do not, in plain words."""

from __future__ import annotations

from collections.abc import Iterator

from accuracy.reports.words import length, standard_name
from accuracy.result import ClaimResult, DatasetResult, Result
from accuracy.standards.judge import Check
from accuracy.stats import show
from accuracy.units import LengthUnit

#: Standards that define a value within which 95 of 100 errors lie; no other gets that wording.
WITH_95 = frozenset({"nssda-1998", "asprs-2014"})

#: Estimators of a value that holds for 95 of 100.
_SHARES = frozenset({"accuracy_95", "p95_abs"})

_RMSE = (
    "A root mean square error (RMSE) is a typical size of the difference, in which large differences weigh "
    "more than small ones. It is not a largest error: single places differ by more."
)

_WHERE = {
    "up": "in height",
    "horizontal": "in plan",
    "east": "to the east or west",
    "north": "to the north or south",
    "3d": "in space",
}
_COVER = {"all": "", "non-vegetated": "open, ", "vegetated": "vegetated, "}


def _value(check: Check, unit: LengthUnit) -> str:
    """Print the value of a check as its claim shows it."""
    assert check.value is not None
    value = show(check.value, check.limit, check.operator or "<=", decimals=4, per_unit=unit.metres)
    return f"{value} {unit.symbol}"


def _spread(dataset: DatasetResult, check: Check, unit: LengthUnit) -> str:
    """Say how far single differences went."""
    ends = {
        figure.statistic: figure.value
        for figure in dataset.figures
        if (figure.component, figure.cover) == (check.component, check.cover)
        and figure.statistic in ("min", "max")
        and isinstance(figure.value, float)
    }
    low, high = ends.get("min"), ends.get("max")
    if low is None or high is None:
        return ""
    where = _WHERE.get(check.component, check.component)
    signed = check.component in ("east", "north", "up")
    return (
        f" Single differences {where} went from {length(low, unit, sign=signed)} to "
        f"{length(high, unit, sign=signed)} {unit.symbol}."
    )


def _of_claim(dataset: DatasetResult, claim: ClaimResult, unit: LengthUnit) -> Iterator[str]:
    if claim.verdict == "no-statement":
        yield (
            f"{dataset.name}, {standard_name(claim)}: no figure printed here may be quoted as its accuracy; "
            "the reasons stand with the claim."
        )
        return
    shares = claim.standard in WITH_95 and any(c.estimator in _SHARES for c in claim.checks)
    for check in claim.checks:
        if check.value is None or check.n == 0:
            continue
        where = _WHERE.get(check.component, check.component)
        about = f"{dataset.name}, {check.name}, {_value(check, unit)}"
        if check.estimator in _SHARES and shares:
            cover = _COVER.get(check.cover, f"{check.cover} ")
            normal = ", normally distributed" if check.estimator == "accuracy_95" else ""
            yield (
                f"{about}: of 100 {cover}well-defined places such as those tested, about 95 are "
                f"expected to differ {where} from the survey by no more than this, if their errors are like "
                f"those at the {check.n} checkpoints{normal} and without a common bias."
            )
        elif check.estimator == "rmse" and not shares:
            yield (f"{about}: from {check.n} checkpoints.{_spread(dataset, check, unit)}")


def means(result: Result, unit: LengthUnit) -> tuple[str, ...]:
    """Say what the judged figures mean, a sentence or two each."""
    told = [
        text
        for dataset in result.datasets
        for claim in dataset.claims
        for text in _of_claim(dataset, claim, unit)
    ]
    with_rmse = any(
        check.estimator == "rmse" and check.value is not None
        for dataset in result.datasets
        for claim in dataset.claims
        for check in claim.checks
    )
    if with_rmse:
        told.insert(0, _RMSE)
    return tuple(dict.fromkeys(told))


def means_not(result: Result) -> tuple[str, ...]:
    """Say what the figures must not be read as."""
    told = []
    for untested, words in (
        (
            "horizontal",
            "nothing was tested in plan; heights say next to nothing of horizontal errors.",
        ),
        ("up", "nothing was tested in height."),
    ):
        names = [
            dataset.name
            for dataset in result.datasets
            if untested not in {figure.component for figure in dataset.figures if figure.n}
        ]
        if names:
            told.append(f"{', '.join(names)}: {words}")
    told.append(
        "Nothing is said of places unlike the checkpoints: steeper, under other cover, on edges, or "
        "beyond them."
    )
    told.append(
        "An error that survey and flight share - coordinates of the base, height of its antenna, geoid model - "
        "does not show in these differences."
    )
    standards = {claim.standard for dataset in result.datasets for claim in dataset.claims}
    if standards and not standards & WITH_95:
        told.append(
            "The documents cited state a root mean square error, not a bound: no share of places that lie "
            "within it is claimed."
        )
    return tuple(told)
