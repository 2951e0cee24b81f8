"""How sure a pass would be: the distribution of an RMSE from n independent, normally distributed errors.

n RMSE^2 / sigma^2 is chi-square with n degrees of freedom (2 n for a radial RMSE of equal axes, 3 n in three
dimensions), noncentral where there is a bias.
"""

from __future__ import annotations

import math

#: Numbers of points and true RMSE, as shares of the limit, of the table of a plan.
NUMBERS = tuple(range(10, 121, 10))
SHARES = (0.5, 0.7, 0.8, 0.9, 1.0, 1.1, 1.25)
SURE = 0.95


def passing(
    n: int,
    true_rmse_m: float,
    limit_m: float,
    *,
    survey_rmse_m: float = 0.0,
    survey_included: bool = False,
    axes: int = 1,
    bias_m: float = 0.0,
) -> float:
    """Give the probability that the RMSE found is within the limit.

    Parameters
    ----------
    n : int
        Checkpoints.
    true_rmse_m : float
        Of the deliverable, bias included, over all `axes` together.
    survey_rmse_m : float
        Of the survey: it is in the differences whatever the document says.
    survey_included : bool
        Whether the document adds it in quadrature to the RMSE found.
    axes : {1, 2, 3}
        Axes with equal errors that the RMSE is of.
    bias_m : float
        Length of the mean error of the deliverable; at most the true RMSE.
    """
    from scipy.stats import chi2, ncx2

    allowed = limit_m**2 - (survey_rmse_m**2 if survey_included else 0.0)
    variance = true_rmse_m**2 - bias_m**2 + survey_rmse_m**2
    if variance < 0.0:
        raise ValueError("the bias is larger than the RMSE")
    if allowed < 0.0:
        return 0.0
    if variance == 0.0:
        return float(bias_m**2 <= allowed)
    per_axis = variance / axes
    degrees = axes * n
    at = n * allowed / per_axis
    if bias_m == 0.0:
        return float(chi2.cdf(at, degrees))
    return float(ncx2.cdf(at, degrees, n * bias_m**2 / per_axis))


def needed_rmse_m(
    n: int,
    limit_m: float,
    *,
    survey_rmse_m: float = 0.0,
    survey_included: bool = False,
    axes: int = 1,
    probability: float = SURE,
) -> float | None:
    """Give the largest true RMSE without bias that passes with a probability; None where none does."""
    from scipy.stats import chi2

    allowed = limit_m**2 - (survey_rmse_m**2 if survey_included else 0.0)
    degrees = axes * n
    found = degrees * allowed / float(chi2.ppf(probability, degrees)) - survey_rmse_m**2
    return math.sqrt(found) if found > 0.0 else None
