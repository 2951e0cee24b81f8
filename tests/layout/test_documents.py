"""Where checkpoints lie, by the rules of the documents."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np
import pytest
from support import assert_metres

from accuracy.inputs.checkpoints import Checkpoint
from accuracy.layout.counts import near_points
from accuracy.layout.distribution import nearest_m, poor_quadrants, spread, too_near
from accuracy.layout.documents import assess
from accuracy.layout.footprint import Footprint, inside, of_rings
from accuracy.layout.records import DocumentLayout
from accuracy.layout.rules import rules_of
from accuracy.residuals import Position, ResidualRow, Roles
from accuracy.sampling import Support
from accuracy.standards.library import LayoutRules, Part, load_standard
from accuracy.stats import Cover
from accuracy.units import LengthUnit


def area(wide_m: float = 100.0, high_m: float = 100.0, cell_m: float = 1.0) -> Footprint:
    shape = (round(high_m / cell_m), round(wide_m / cell_m))
    return Footprint(0.0, 0.0, cell_m, np.ones(shape, np.bool_), "a test")


def row(name: str, east_m: float, north_m: float, **more: object) -> ResidualRow:
    values: dict[str, object] = {
        "id": name,
        "cover": "non-vegetated",
        "role": "checkpoint",
        "used": True,
        "reason": None,
        "detail": "",
        "surveyed": Position(east_m, north_m, 0.0),
        "measured": Position(None, None, 0.0),
        "residual": Position(None, None, 0.01),
        "native": {},
        "survey_rmse_v_m": 0.01,
        "support": Support(9, slope_deg=1.0, roughness_m=0.01),
    }
    return ResidualRow(**(values | more))


def grid_rows(n: int, size_m: float = 100.0, **more: object) -> list[ResidualRow]:
    side = math.ceil(math.sqrt(n))
    step = size_m / side
    places = [((i % side + 0.5) * step, (i // side + 0.5) * step) for i in range(n)]
    return [row(f"P{i:02d}", x, y, **more) for i, (x, y) in enumerate(places)]


def number(standard: str, part: Part, cover: Cover, area_km2: float) -> int | None:
    rule = rules_of(load_standard(standard)).count(part, cover)
    return rule.wanted(area_km2) if rule else None


def assessed(
    rows: list[ResidualRow],
    standard: str = "usgs-lbs-2025a",
    where: Footprint | None = None,
    **claimed: object,
) -> tuple[DocumentLayout, set[str]]:
    claimed = claimed or {"quality_level": "QL0"}
    layout, findings = assess("d", rows, load_standard(standard), claimed, where or area())
    return layout, {finding.code for finding in findings}


def test_twenty_points_exactly_at_the_share_of_each_quadrant() -> None:
    """NSSDA 3-C.3: at least 20 % in each quadrant: 4 of 20 is enough, 3 of 20 is not."""
    corner = {"ne": (75.0, 75.0), "nw": (25.0, 75.0), "sw": (25.0, 25.0), "se": (75.0, 25.0)}

    def places(**counts: int) -> np.ndarray:
        return np.array([corner[q] for q, n in counts.items() for _ in range(n)])

    enough = spread(area(), places(ne=8, nw=4, sw=4, se=4))
    assert enough.quadrants == (8, 4, 4, 4)
    assert poor_quadrants(enough, 0.20) == []
    assert_metres(enough.least_share, 0.2, within_m=1e-12)
    assert poor_quadrants(spread(area(), places(ne=8, nw=5, sw=3, se=4)), 0.20) == ["south-west 3"]


def test_a_point_on_a_middle_line_counts_once() -> None:
    """To the north and to the east."""
    assert spread(area(), np.array([[50.0, 50.0]])).quadrants == (1, 0, 0, 0)
    assert spread(area(), np.array([[50.0, 49.9]])).quadrants == (0, 0, 0, 1)


def test_a_quadrant_that_the_area_leaves_empty_is_not_asked_for_points() -> None:
    """An L-shaped area: three quadrants hold a third of the points each, the fourth is none of it."""
    filled = np.ones((100, 100), np.bool_)
    filled[50:, 50:] = False
    bent = Footprint(0.0, 0.0, 1.0, filled, "a test")
    found = spread(bent, np.array([[25.0, 75.0], [25.0, 25.0], [75.0, 25.0]]))
    assert found.asked == (False, True, True, True)
    assert poor_quadrants(found, 0.20) == []
    assert_metres(bent.area_m2, 7500.0, within_m=1e-9)
    assert not bent.contains(np.array([[75.0, 75.0]]))[0]


def test_spacing_of_a_tenth_of_the_diagonal_is_enough() -> None:
    """NSSDA 3-C.3: at 10 % of the diagonal exactly enough, one unit in the last place below not."""
    least_m = 0.1 * area().diagonal_m
    places = np.array([[10.0, 10.0], [10.0 + least_m, 10.0], [80.0, 80.0]])
    found = spread(area(), places)
    assert too_near("ABC", found, float(found.nearest_m[0])) == ()
    assert too_near("ABC", found, math.nextafter(float(found.nearest_m[0]), 99.0)) == ("A", "B")
    assert math.isinf(nearest_m(places[:1])[0])
    brute = [
        min(math.dist(a, b) for j, b in enumerate(places) if j != i) for i, a in enumerate(places)
    ]
    assert_metres(nearest_m(places), brute, within_m=1e-12)


def test_the_steepest_ground_by_the_documents_own_rule() -> None:
    """USGS: below 10 degrees; ASPRS Edition 1: at most 10 %, which is 5.71 degrees; Edition 2: no angle."""
    cases: list[tuple[float, str, dict[str, Any], bool]] = [
        (9.99, "usgs-lbs-2025a", {"quality_level": "QL0"}, False),
        (10.0, "usgs-lbs-2025a", {"quality_level": "QL0"}, True),
        (math.degrees(math.atan(0.10)), "asprs-2014", {"vertical_class_cm": 5.0}, False),
        (5.72, "asprs-2014", {"vertical_class_cm": 5.0}, True),
        (30.0, "asprs-2024", {"vertical_class_cm": 5.0}, False),
    ]
    for slope_deg, standard, claimed, told in cases:
        rows = grid_rows(30, support=Support(9, slope_deg=slope_deg, roughness_m=0.001))
        layout, codes = assessed(rows, standard, **claimed)
        assert ("layout-steep" in codes) == told, (slope_deg, standard)
        assert bool(layout.steep) == told
        vegetated = [replace(r, cover="vegetated") for r in rows]
        assert "layout-steep" not in assessed(vegetated, standard, **claimed)[1]


def test_a_third_of_the_limit_is_too_rough() -> None:
    """USGS: the ground deviates by less than a third of the RMSE required: QL1, 10 cm: 3.33 cm (notes)."""
    for roughness_m, told in [(0.0333, False), (0.0334, True)]:
        rows = grid_rows(30, support=Support(9, slope_deg=0.0, roughness_m=roughness_m))
        layout, codes = assessed(rows, quality_level="QL1")
        assert ("layout-rough" in codes) == told
        assert len(layout.rough) == (30 if told else 0)


def test_each_cover_is_distributed_by_itself_where_the_document_says_so() -> None:
    """USGS: per land-cover class. Vegetated points in one corner are told, for the NSSDA they are not."""
    rows = grid_rows(36)
    corner = [
        replace(r, cover="vegetated", surveyed=Position(2.0 + i, 2.0, 0.0))
        for i, r in enumerate(grid_rows(4))
    ]
    layout, codes = assessed([*rows, *corner])
    assert {"layout-quadrants", "layout-spacing"} <= codes
    assert [(c.cover, c.points) for c in layout.covers] == [("non-vegetated", 36), ("vegetated", 4)]
    layout, codes = assessed([*rows, *corner], "nssda-1998", vertical_95_m=0.1)
    assert [(c.cover, c.points) for c in layout.covers] == [("all", 40)]
    assert "layout-quadrants" not in codes


@pytest.mark.parametrize(
    ("area_km2", "bare", "vegetated", "horizontal"),
    [
        (500, 20, 5, 20),
        (501, 20, 10, 25),
        (1000, 25, 15, 30),
        (1001, 30, 20, 35),
        (2500, 55, 45, 60),
    ],
)
def test_table_of_edition_1(area_km2: float, bare: int, vegetated: int, horizontal: int) -> None:
    """ASPRS Edition 1, Table C.1 (from memory in the shared notes)."""

    def wanted(part: Part, cover: Cover, km2: float) -> int | None:
        return number("asprs-2014", part, cover, km2)

    assert wanted("vertical", "non-vegetated", area_km2) == bare
    assert wanted("vertical", "vegetated", area_km2) == vegetated
    assert wanted("horizontal", "all", area_km2) == horizontal


def test_numbers_above_the_tables() -> None:
    """Edition 1, page A20: 5 more per 500 km2, 3 of them bare; Edition 2: 10 more per 1000 km2, at most 120."""
    one, two = partial(number, "asprs-2014"), partial(number, "asprs-2024")
    assert one("vertical", "non-vegetated", 3000.0) == 58
    assert one("vertical", "vegetated", 3000.0) == 47
    assert one("horizontal", "all", 3000.0) is None
    printed = {1000: 30, 1001: 40, 2000: 40, 2001: 50, 9000: 110, 9001: 120, 10001: 120, 90000: 120}
    assert {km2: two("vertical", "non-vegetated", km2) for km2 in printed} == printed
    assert two("vertical", "vegetated", 9000.0) == 30


def test_more_points_for_a_large_area() -> None:
    """1500 km2 want 40 by Edition 2: 39 are told, 40 are not; that small areas want 30 the judge tells."""
    large = area(50_000.0, 30_000.0, 500.0)
    for n, told in [(39, True), (40, False)]:
        layout, codes = assessed(grid_rows(n, 30_000.0), "asprs-2024", large, vertical_class_cm=5.0)
        assert layout.covers[0].wanted == 40
        assert ("layout-few-for-area" in codes) == told
    assert "layout-few-for-area" not in assessed(grid_rows(3))[1]


def test_points_outside_the_area_are_named() -> None:
    """A point beyond the outline is named; one cell beyond the footprint of data counts as at its edge."""
    ring = np.array([[0.0, 0.0], [100.0, 0.0], [100.0, 100.0], [0.0, 100.0], [0.0, 0.0]])
    outline = of_rings([ring], "the outline of [area]")
    assert outline is not None
    rows = [*grid_rows(30), row("FAR", 100.5, 50.0)]
    layout, codes = assessed(rows, where=outline)
    assert layout.outside == ("FAR",)
    assert "layout-outside" in codes
    assert assessed(rows)[0].outside == ()


def test_inside_rings_with_a_hole() -> None:
    """The even-odd rule: an inner ring is a hole; winding does not matter; a triangle is half its box."""
    outer = np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [0.0, 10.0], [0.0, 0.0]])
    hole = outer * 0.4 + 3.0
    found = inside([outer, hole], np.array([[1.0, 1.0], [5.0, 5.0], [11.0, 5.0]]))
    assert found.tolist() == [True, False, False]
    assert inside([outer[::-1], hole], np.array([[1.0, 1.0]]))[0]
    triangle = of_rings([np.array([[0.0, 0.0], [200.0, 0.0], [0.0, 200.0], [0.0, 0.0]])], "")
    assert triangle is not None
    assert abs(triangle.area_m2 - 20_000.0) <= 200.0
    assert of_rings([np.zeros((4, 2))], "") is None


def test_points_at_one_place_count_once() -> None:
    """As for the judge: two ids at one place are one test."""
    rows = [*grid_rows(30), replace(grid_rows(1)[0], id="AGAIN")]
    rows[-1] = replace(rows[-1], surveyed=rows[0].surveyed)
    assert assessed(rows)[0].covers[0].points == 30


def test_the_survey_ratio_is_a_fact() -> None:
    """5 cm over 1 cm is 5; unknown at one point is unknown."""
    layout, _ = assessed(grid_rows(30))
    assert (layout.survey_ratio_wanted, layout.survey_ratio) == (2.0, 5.0)
    rows = [*grid_rows(30), row("X", 1.0, 1.0, survey_rmse_v_m=None)]
    assert assessed(rows)[0].survey_ratio is None


def test_rules_are_those_of_the_documents_own_file() -> None:
    """A file without rules has none, whatever its id begins with."""
    own = replace(load_standard("asprs-2024"), id="asprs-2024-ours", layout=LayoutRules())
    layout, findings = assess("d", grid_rows(3), own, {"vertical_class_cm": 5.0}, area())
    assert findings == ()
    assert layout.confirm == ()
    assert rules_of(load_standard("asprs-2024")).count("vertical", "vegetated") is not None


@pytest.mark.parametrize(
    ("standard", "claimed", "control", "wanted"),
    [
        ("japan-2025-uav-laser", {"product": "ground data"}, 10, 10),  # Article 467: as many
        (
            "korea-dem-2026",
            {"product": "raw points"},
            10,
            3,
        ),  # the notes: 10 control points, 3 checks
        ("korea-dem-2026", {"product": "raw points"}, 11, 4),  # 30 % are 3.3
        ("korea-dem-2026", {"product": "raw points"}, 2, 3),  # at least 3
        ("nssda-1998", {"vertical_95_m": 0.1}, 10, 0),
    ],
)
def test_checkpoints_beside_control(
    standard: str, claimed: dict[str, Any], control: int, wanted: int
) -> None:
    """One checkpoint fewer than the document wants beside the control is told, the number itself is not."""
    held = [row(f"C{i}", 1.0, i, role="control", used=False) for i in range(control)]
    for count in range(max(wanted - 1, 1), wanted + 2):
        _, codes = assessed([*grid_rows(count), *held], standard, **claimed)
        assert ("layout-few-for-control" in codes) is (count < wanted)
    assert "layout-few-for-control" not in assessed(grid_rows(1), standard, **claimed)[1]


def test_distance_to_control_and_repeated_points() -> None:
    """Nearer to control than stated: told with the distance, in feet too; half a metre apart: the same spot."""
    points = (
        Checkpoint("A", 0.0, 0.0, 1.0),
        Checkpoint("C", 30.0, 0.0, 1.0),
        Checkpoint("B", 0.5, 0.0, 1.0),
        Checkpoint("D", 90.0, 0.0, 1.0),
    )
    roles = Roles(control=frozenset("C"))
    (spot,) = near_points(points, roles, LengthUnit.METRE, None)
    assert spot.code == "checkpoints-same-spot"
    assert "A and B, 0.50 m" in spot.message
    near, _ = near_points(points, roles, LengthUnit.FOOT, 9.0)
    assert near.code == "checkpoints-near-control"
    assert "B 8.99 m from C" in near.message
    assert "A 9.14" not in near.message
    assert near_points(points, roles, None, 9.0) == ()
    assert near_points((), roles, LengthUnit.METRE, 9.0) == ()
