from __future__ import annotations

from accuracy.inputs.checkpoints import Checkpoint
from accuracy.residuals import Roles, height_residuals
from accuracy.sampling import Sample, Support
from accuracy.units import LengthUnit

METRE = LengthUnit.METRE


def rows(*points: Checkpoint, slope_deg: float = 0.0, roles: Roles | None = None) -> tuple:
    sample = Sample(10.5, support=Support(9, slope_deg=slope_deg))
    return height_residuals(points, [sample] * len(points), roles or Roles(), METRE, METRE)


def point(**changes: object) -> Checkpoint:
    values: dict[str, object] = {"id": "A", "easting": 1.0, "northing": 2.0, "height": 10.0}
    return Checkpoint(**(values | changes))


def test_the_sign_is_measured_minus_surveyed() -> None:
    """Measured 10.5 over surveyed 10.0: +0.5, the deliverable is too high."""
    (row,) = rows(point())
    assert row.residual is not None
    assert row.residual.up_m == 0.5


def test_a_points_own_survey_accuracy_wins_over_the_jobs() -> None:
    """The table's column speaks of the point, the job of the rest."""
    roles = Roles(survey_rmse_h_m=0.01, survey_rmse_v_m=0.015)
    own, silent = rows(
        point(survey_rmse_h_m=0.03, survey_rmse_v_m=0.04), point(id="B"), roles=roles
    )
    assert (own.survey_rmse_h_m, own.survey_rmse_v_m) == (0.03, 0.04)
    assert (silent.survey_rmse_h_m, silent.survey_rmse_v_m) == (0.01, 0.015)


def test_feet_become_metres_once() -> None:
    """Heights in US survey feet: the residual is 0.5 x 1200/3937 m."""
    (row,) = height_residuals(
        [point()], [Sample(10.5)], Roles(), LengthUnit.US_SURVEY_FOOT, LengthUnit.US_SURVEY_FOOT
    )
    assert row.residual is not None
    assert abs((row.residual.up_m or 0) - 0.5 * 1200 / 3937) < 1e-15


def test_a_point_meant_for_horizontal_tests_does_not_count_for_heights() -> None:
    """Its row says why."""
    (row,) = rows(point(tested="horizontal"))
    assert (row.used, row.reason) == (False, "not-tested")


def test_a_points_own_survey_accuracy_wins_even_where_it_is_nothing() -> None:
    """A stated 0 is a statement, height and plane each for itself; the other stays the job's."""
    roles = Roles(survey_rmse_h_m=0.01, survey_rmse_v_m=0.015)
    height, plane = rows(
        point(survey_rmse_v_m=0.0), point(id="B", survey_rmse_h_m=0.0), roles=roles
    )
    assert (height.survey_rmse_h_m, height.survey_rmse_v_m) == (0.01, 0.0)
    assert (plane.survey_rmse_h_m, plane.survey_rmse_v_m) == (0.0, 0.015)
