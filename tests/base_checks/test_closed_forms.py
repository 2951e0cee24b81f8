"""Antenna heights and phase centres against worked values and closed forms."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from stations import numbers, sound, vertical
from support import assert_metres

from accuracy.base_checks.antenna_heights import (
    IONOSPHERE_FREE,
    IONOSPHERE_FREE_L1,
    phase_centres,
    slant_to_arp_m,
    to_arp_m,
    true_arp_m,
)
from accuracy.base_checks.record import Height
from accuracy.formats.antex import find_antenna


@given(
    st.floats(0.0, 10.0, allow_nan=False),
    st.floats(0.01, 0.5, allow_nan=False),
    st.floats(-0.2, 0.2, allow_nan=False),
)
def test_slant_and_back(height_m: float, radius_m: float, offset_m: float) -> None:
    """The slant to a rim at a known height (Pythagoras) reduces to that height."""
    rim_m = height_m + offset_m
    if rim_m <= 0.001:
        return
    found = slant_to_arp_m(math.hypot(rim_m, radius_m), radius_m, offset_m)
    assert found is not None
    assert_metres(found, height_m, within_m=1e-9)


def test_a_slant_shorter_than_the_radius_is_impossible() -> None:
    """No height follows, and no error escapes."""
    assert slant_to_arp_m(0.1, 0.19, 0.0) is None
    assert slant_to_arp_m(0.19, 0.19, 0.0) is None


def test_heights_to_other_points() -> None:
    """Vertical to the rim loses its offset, to the phase centre the offset of the frequency."""
    assert to_arp_m(Height(1.5, "", "vertical", "rim", None, 0.04)) == pytest.approx(
        1.46, abs=1e-12
    )
    assert to_arp_m(vertical(1.6, "phase-centre")) is None
    station = sound(height=vertical(1.6, "phase-centre"), second=None)
    assert_metres(true_arp_m(station, station.height) or 0.0, 1.6 - 0.09135, within_m=1e-9)


def test_ionosphere_free_weights() -> None:
    """2.5457 and -1.5457, as published for GPS L1 and L2."""
    assert round(IONOSPHERE_FREE_L1, 4) == 2.5457


@pytest.mark.shared_data
def test_worked_antenna_heights(shared_geodesy: Path) -> None:
    """The table of worked heights: to the tenth of a millimetre printed."""
    with (shared_geodesy / "check_antenna_height.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 5
    for row in rows:
        slant, radius, offset = (
            float(row[key])
            for key in ("slant_m", "radius_to_slant_mark_m", "slant_plane_above_ARP_m")
        )
        found = slant_to_arp_m(slant, radius, offset)
        assert found is not None
        assert_metres(found, float(row["vertical_to_ARP_m"]), within_m=0.00006)
        error = float(row["height_error_if_slant_typed_as_ARP_m"])
        assert_metres(slant - found, error, within_m=0.00006)


@pytest.mark.shared_data
def test_ionosphere_free_offset_of_a_published_antenna(shared_geodesy: Path) -> None:
    """254.34 and 283.95 mm combine to 208.6 mm (project notes on the IGS file)."""
    path = shared_geodesy / "samples" / "antex14_igs20_excerpt.atx"
    centres = phase_centres(find_antenna(path, "3S-02-TSADM", "NONE").antenna)
    assert_metres(centres[IONOSPHERE_FREE].up_m or 0.0, 0.2086, within_m=0.00005)
    assert_metres(numbers(centres["G01"]), (0.00307, 0.00236, 0.25434), within_m=1e-9)
