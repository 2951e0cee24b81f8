"""What is claimed of a dataset, by component and cover, and how large a change of its RMSE matters."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from accuracy.result import DatasetResult
from accuracy.standards.judge import Check
from accuracy.stats import COMPONENTS, COVERS, Component, Cover

#: The default tolerance as a share of the claimed limit.
TOLERANCE_SHARE = 0.25

#: Estimator and number of axes to what a limit on it is divided by to be one on the RMSE: NSSDA, Appendix
#: 3-A, for 95 %; percentiles of normal errors otherwise. A limit on anything else gives no tolerance.
_PER_RMSE: Mapping[tuple[str, bool], float] = MappingProxyType(
    {
        ("rmse", False): 1.0,
        ("rmse", True): 1.0,
        ("std", False): 1.0,
        ("accuracy_95", False): 1.9600,
        ("accuracy_95", True): 1.7308,
        ("p95_abs", False): 1.9600,
        ("p95_abs", True): 1.7308,
        ("p68_abs", False): 1.0,
    }
)


@dataclass(frozen=True)
class Claimed:
    """One component and cover that something is claimed of, with the tolerance that follows.

    `tolerance_m` is None where no limit is claimed for the component; `source` says where it comes from.
    """

    component: Component
    cover: Cover
    names: tuple[str, ...]
    tolerance_m: float | None
    source: str


def claimed_of(datasets: Sequence[DatasetResult], tolerance_m: float | None) -> tuple[Claimed, ...]:
    """Give what is claimed in any run of one dataset, in the order of components and covers.

    Checks of east and of north alone are parts of a horizontal claim, where there is one.
    """
    checks = [check for dataset in datasets for claim in dataset.claims for check in claim.checks]
    wanted = {(check.component, check.cover) for check in checks}
    if any(component in ("horizontal", "3d") for component, _ in wanted):
        wanted = {pair for pair in wanted if pair[0] not in ("east", "north")}
    return tuple(
        Claimed(
            component,
            cover,
            tuple(
                dict.fromkeys(
                    c.name for c in checks if (c.component, c.cover) == (component, cover)
                )
            ),
            *_tolerance(datasets, component, cover, tolerance_m),
        )
        for component in COMPONENTS
        for cover in COVERS
        if (component, cover) in wanted
    )


def _tolerance(
    datasets: Sequence[DatasetResult], component: Component, cover: Cover, asked_m: float | None
) -> tuple[float | None, str]:
    if asked_m is not None:
        return asked_m, "as asked for"
    limits = list(_limits(datasets, component))
    own = [(limit, check) for limit, check in limits if check.cover == cover]
    if not limits:
        return None, "no limit on its RMSE is claimed, so no tolerance follows"
    limit_m, check = min(own or limits, key=lambda pair: (pair[0], pair[1].name))
    source = f"a quarter of the limit of {check.name}"
    if check.estimator not in ("rmse", "std"):
        source += ", taken as one on the RMSE of normal errors"
    if not own:
        source += "; no limit is claimed for this cover"
    return TOLERANCE_SHARE * limit_m, source


def _limits(
    datasets: Sequence[DatasetResult], component: Component
) -> Iterator[tuple[float, Check]]:
    """Give limits on a component as limits on its RMSE in metres, the narrowest of all runs counts."""
    for dataset in datasets:
        for claim in dataset.claims:
            for check in claim.checks:
                factor = _PER_RMSE.get((check.estimator, component in ("horizontal", "3d")))
                usable = (
                    check.limit is not None and math.isfinite(check.limit) and check.unit == "m"
                )
                if check.component == component and factor and usable and check.limit:
                    yield check.limit / factor, check
