"""Rules on number and places of the points, and on heights, as a document's file holds them."""

from __future__ import annotations

import math
from fractions import Fraction
from pathlib import Path

import pytest

from accuracy.errors import StandardsError
from accuracy.standards.library import list_standards, load_standard, parse_standard

OWN = """
id = "larkfield-layout"
title = "Larkfield Quarries layout"
document = "LQ-18"
date = "2026"
class_required = false

[[claim_key]]
name = "limit_m"
kind = "length"
unit = "m"
meaning = "limit"

[[requirement]]
id = "rmse"
name = "RMSE"
component = "up"
cover = "all"
estimator = "rmse"
survey_error = "excluded"
limit = { key = "limit_m", factor = "2/3" }
operator = "<="
cite = "paragraph 1"
verification = "client"

[[area_count]]
part = "vertical"
cover = "all"
up_to_km2 = [1, 2]
points = [10, 15]
further_km2 = 0.5
further_points = 2
cite = "paragraph 2"
verification = "client"

[control_share]
share = "1/3"
least = 3
cite = "paragraph 3"
verification = "client"

[distribution]
quadrant_share = 0.2
diagonal_share = 0.1
by_cover = false
required = true
cite = "paragraph 4"
verification = "client"

[siting]
slope_percent = 10
below = false
deviation_share = "1/3"
cite = "paragraph 5"
verification = "client"

[[confirm]]
text = "no point on a haul road"
cite = "paragraph 6"
verification = "client"

[[height_procedure]]
method = "plane"
shapes = ["square"]
across = 5
of = "design-spacing"
binding = true
cite = "paragraph 7"
verification = "client"
"""


def test_a_clients_file_holds_its_own_rules(tmp_path: Path) -> None:
    """Every table is read, fractions exactly, percent as the angle whose tangent they are."""
    (tmp_path / "own.toml").write_text(OWN, encoding="utf-8")
    layout = load_standard("own.toml", tmp_path).layout
    rule = layout.count("vertical", "all")
    assert rule is not None
    assert {a: rule.wanted(a) for a in (0.2, 1, 1.001, 2, 2.1, 2.5, 2.6)} == {
        0.2: 10,
        1: 10,
        1.001: 15,
        2: 15,
        2.1: 17,
        2.5: 17,
        2.6: 19,
    }
    assert layout.control is not None
    assert [layout.control.wanted(n) for n in (0, 1, 9, 10)] == [0, 3, 3, 4]
    assert layout.siting is not None
    assert layout.siting.deviation_share == Fraction(1, 3)
    assert math.isclose(math.tan(math.radians(layout.siting.slope_deg or 0.0)), 0.1, rel_tol=1e-15)
    assert [str(point) for point in layout.confirm] == ["no point on a haul road (paragraph 6)"]
    (procedure,) = load_standard("own.toml", tmp_path).procedures
    assert "square of side 5 times the design spacing" in procedure.words


@pytest.mark.parametrize(
    ("old", "new", "where"),
    [
        ("points = [10, 15]", "points = [10]", "area_count[0].points"),
        ("up_to_km2 = [1, 2]", "up_to_km2 = [2, 2]", "area_count[0].up_to_km2"),
        ("further_km2 = 0.5", "beyond_points = 20\nfurther_km2 = 0.5", "area_count[0].further_km2"),
        ("quadrant_share = 0.2", "quadrant_share = 0.3", "distribution.quadrant_share"),
        ("slope_percent = 10", "slope_percent = 10\nslope_deg = 5", "siting.slope_percent"),
        ("slope_percent = 10\nbelow = false\n", "slope_percent = 10\n", "siting.below"),
        ("slope_percent = 10\nbelow = false\n", "", None),
        ('share = "1/3"\nleast', 'share = "1/0"\nleast', "control_share.share"),
        ('share = "1/3"\nleast', "share = -1\nleast", "control_share.share"),
        ('shapes = ["square"]', 'shapes = ["star"]', "height_procedure[0].shapes"),
        ("across = 5\n", "", "height_procedure[0].across"),
        ('method = "plane"', 'method = "tin"', "height_procedure[0].across"),
        ('method = "plane"', 'method = "kriging"', "height_procedure[0].method"),
        ('factor = "2/3"', 'factor = "two thirds"', "requirement[0].limit.factor"),
        ('text = "no point on a haul road"\n', "", "confirm[0].text"),
        ('cite = "paragraph 4"\n', "", "distribution.cite"),
    ],
)
def test_mistakes_are_told_by_key(old: str, new: str, where: str | None) -> None:
    """Every mistake with the path of its key; what may be left out is none."""
    assert old in OWN
    text = OWN.replace(old, new, 1)
    if where is None:
        assert parse_standard(text, "own.toml").layout.siting is not None
        return
    with pytest.raises(StandardsError) as caught:
        parse_standard(text, "own.toml")
    assert where in {problem.where for problem in caught.value.problems}


@pytest.mark.parametrize(
    ("old", "where"),
    [
        ('paragraph 2"\nverification = "client"', "area_count[0].verification"),
        ('paragraph 3"\nverification = "client"', "control_share.verification"),
        ('paragraph 4"\nverification = "client"', "distribution.verification"),
        ('paragraph 5"\nverification = "client"', "siting.verification"),
        ('paragraph 6"\nverification = "client"', "confirm[0].verification"),
        ('paragraph 7"\nverification = "client"', "height_procedure[0].verification"),
    ],
)
def test_a_clients_rules_carry_the_clients_mark(tmp_path: Path, old: str, where: str) -> None:
    """A client's rule on the layout cannot pass for one that was read in a published document."""
    assert old in OWN
    text = OWN.replace(old, old.replace('"client"', '"read"'), 1)
    (tmp_path / "own.toml").write_text(text, encoding="utf-8")
    with pytest.raises(StandardsError) as caught:
        load_standard("own.toml", tmp_path)
    assert {problem.where for problem in caught.value.problems} == {where}


def test_numbers_of_the_layout_stand_in_the_files_alone() -> None:
    """Shares and slopes of the packaged documents, as in the notes on them."""
    spread = {s.id: s.layout.distribution for s in list_standards() if s.layout.distribution}
    assert {(d.quadrant_share, d.diagonal_share) for d in spread.values()} == {(0.2, 0.1)}
    required = {id_ for id_, d in spread.items() if d.required}
    assert required == {s.id for s in list_standards() if s.id.startswith("usgs-lbs-")} - {
        "usgs-lbs-1.0"
    }
    slopes = {
        s.id: round(s.layout.siting.slope_deg or 0.0, 2)
        for s in list_standards()
        if s.layout.siting and not s.id.startswith("usgs")
    }
    assert slopes == {"asprs-2014": 5.71, "ndep-2004": 11.31}  # 10 % and 20 %


def test_japan_airborne_counts_by_area() -> None:
    """The notes: 180 km2 give 180 / 25 + 1 = 8.2, of which nine is made; at least 4; 75 km2 give 4 exactly."""
    rule = load_standard("japan-2025-airborne-laser").layout.count("vertical", "all")
    assert rule is not None
    assert {a: rule.wanted(a) for a in (0.1, 75, 75.1, 180)} == {0.1: 4, 75: 4, 75.1: 5, 180: 9}


def test_japan_density_to_size_of_neighbourhood() -> None:
    """The notes: 100 points/m2, theta 1.1 and 1.5 give 0.4545 and 0.3333 m; 10 points/m2 1.4374 m."""
    (procedure,) = load_standard("japan-2025-uav-laser").procedures
    assert procedure.across is not None
    for density, theta, size_m in ((100, 1.1, 0.4545), (100, 1.5, 0.3333), (10, 1.1, 1.4374)):
        spacing_m = 1.0 / math.sqrt(density) / theta
        assert abs(float(procedure.across) * spacing_m - size_m) <= 5e-5


def test_who_binds_heights_to_a_procedure() -> None:
    """Neighbourhoods of Japan and Korea, which were read, bind; triangulations are told only."""
    found = {s.id: (p.method, p.binding) for s in list_standards() for p in s.procedures}
    mean = {id_ for id_, rule in found.items() if rule == ("neighbourhood-mean", True)}
    assert mean == {"japan-2025-uav-laser", "japan-2025-airborne-laser", "korea-dem-2026"}
    others = set(found) - mean
    assert {found[id_] for id_ in others} == {("tin", False)}
    assert {"usgs-lbs-2020a", "usgs-lbs-2025a", "ndep-2004"} <= others
    assert not {"usgs-lbs-2.1", "asprs-2024", "nssda-1998"} & others
