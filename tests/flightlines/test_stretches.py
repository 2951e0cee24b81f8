"""Which points make a line: by id where ids are good, by time and turning where they are not."""

from __future__ import annotations

import numpy as np
import pytest
from line_flights import FOUR, PAIR, START_S, analysed, chosen, flight, joined

from accuracy.flightlines.records import Span


def codes(record) -> set[str]:
    """Give the codes of all findings."""
    return {finding.code for finding in record.findings}


def turning(points, after, seconds=9.0):
    """Points recorded on a half circle of 10 m from one line to the next, northern or southern end."""
    rng = np.random.default_rng(9)
    n = 4000
    last = points["gps_time"][points["point_source_id"] == after].max()
    share = np.sort(rng.random(n))
    mine = points["point_source_id"] == after
    at = np.argmax(np.where(mine, points["gps_time"], -np.inf))
    y0 = points["y"][at]
    side = 1.0 if after % 2 else -1.0
    x0 = np.median(points["x"][mine])
    angle = np.pi * share
    turn = chosen(points, np.flatnonzero(mine)[:n])
    turn["x"] = x0 + 10.0 - 10.0 * np.cos(angle) + rng.normal(0.0, 3.0, n)
    turn["y"] = y0 + side * 10.0 * np.sin(angle) + rng.normal(0.0, 3.0, n)
    turn["z"] = np.full(n, 100.0)
    turn["gps_time"] = last + 0.01 + share * seconds
    return turn


def test_good_ids_are_lines(tmp_path):
    """Numbers are the stored ids, and nothing is said."""
    record = analysed(tmp_path, flight(FOUR, per_m2=6.0))
    assert [line.number for line in record.lines] == [11, 12, 13, 14]
    assert record.how == "source-id"
    assert "lines-by-time" not in codes(record)
    assert record.stray == ()
    starts = [line.start_s for line in record.lines]
    assert starts == pytest.approx([START_S, START_S + 40, START_S + 80, START_S + 200], abs=0.1)


def test_missing_ids_are_told_by_time(tmp_path):
    """All ids zero, lines to and fro with pauses: the same lines, said so."""
    points = flight(FOUR, per_m2=6.0)
    number = points["point_source_id"].copy()
    points["point_source_id"] = np.zeros(len(number), np.int64)
    record = analysed(tmp_path, points)
    assert record.how == "time"
    assert "lines-by-time" in codes(record)
    assert [line.points for line in record.lines] == [
        int((number == n).sum()) for n in range(11, 15)
    ]
    assert len(record.pairs) == len(analysed(tmp_path, flight(FOUR, per_m2=6.0)).pairs)


def test_turns_without_a_pause_split_lines(tmp_path):
    """Recording through the turns: lines end where the aircraft turns, and the turn is stray."""
    lines = (
        FOUR[0],
        *(
            type(n)(n.number, n.east_m, n.heading_deg, s)
            for n, s in zip(FOUR[1:3], (START_S + 24, START_S + 48), strict=True)
        ),
    )
    points = flight(lines, per_m2=6.0)
    points = joined([points, turning(points, 11), turning(points, 12)])
    points["point_source_id"] = np.full(len(points["x"]), 7)
    record = analysed(tmp_path, points)
    assert [line.how for line in record.lines] == ["time"] * 3
    headings = [round(line.heading_deg / 90.0) % 4 for line in record.lines]
    assert headings == [0, 2, 0]
    for line in record.lines:
        assert 100.0 < line.length_m < 160.0
    assert sum(one.points for one in record.stray) > 1000
    assert "lines-stray" in codes(record)


def test_a_trajectory_tells_lines_where_ids_do_not(tmp_path):
    """Spans of time from a trajectory decide, with their numbers."""
    points = flight(FOUR, per_m2=6.0)
    points["point_source_id"] = np.zeros(len(points["x"]), np.int64)
    spans = tuple(
        Span(number=n, start_s=line.start_s - 1.0, end_s=line.start_s + 16.0)
        for n, line in enumerate(FOUR, start=31)
    )
    record = analysed(tmp_path, points, spans=spans)
    assert record.how == "trajectory"
    assert [line.number for line in record.lines] == [31, 32, 33, 34]


def test_ids_that_change_all_the_time_are_left_aside(tmp_path):
    """Random ids tell nothing; time does."""
    points = flight(PAIR, per_m2=6.0)
    points["point_source_id"] = np.random.default_rng(1).integers(1, 60, len(points["x"]))
    record = analysed(tmp_path, points)
    assert record.how == "time"
    assert len(record.lines) == 2


def test_one_id_for_two_passes_is_split(tmp_path):
    """An id used twice becomes two lines with new numbers; the others keep theirs."""
    points = flight(FOUR, per_m2=6.0)
    points["point_source_id"][points["point_source_id"] == 12] = 11
    record = analysed(tmp_path, points)
    assert sorted(line.number for line in record.lines) == [13, 14, 15, 16]
    assert [line.source_id for line in record.lines] == [11, 11, 13, 14]
    assert "lines-by-time" in codes(record)


def test_stray_ids_are_listed(tmp_path):
    """A handful of points with an id of their own are no line."""
    points = flight(PAIR, per_m2=6.0)
    points["point_source_id"][[5, 500, 5000]] = 999
    record = analysed(tmp_path, points)
    assert [(one.source_id, one.points) for one in record.stray] == [(999, 3)]
    assert [line.number for line in record.lines] == [11, 12]


def test_points_without_time_keep_their_ids(tmp_path):
    """Lines by id without headings; differences still, trends with time not."""
    points = flight(PAIR, per_m2=20.0)
    points["gps_time"] = np.zeros(len(points["x"]))
    record = analysed(tmp_path, points)
    assert "lines-untimed" in codes(record)
    assert record.untimed == len(points["x"])
    [pair] = record.pairs
    assert pair.kind == "unknown"
    assert pair.differences.n > 500
    assert pair.trends.time_m_s is None
    assert record.lines[0].heading_deg is None
    assert record.trends.drift_m_s is None


def test_one_line_cannot_be_compared(tmp_path):
    """Precision and density of a single line, no pair, said so."""
    record = analysed(tmp_path, flight(PAIR[:1], per_m2=20.0))
    assert record.pairs == ()
    assert record.differences.n == 0
    assert "lines-none-shared" in codes(record)
    assert record.within[0].plane_cells > 500


def test_a_pause_inside_a_line_is_a_gap(tmp_path):
    """Five seconds without points on one course: still one line, and the gap is listed."""
    points = flight(PAIR, per_m2=6.0)
    time = points["gps_time"] - START_S
    points = chosen(points, np.flatnonzero((time < 4.0) | (time > 9.0)))
    record = analysed(tmp_path, points)
    assert [line.number for line in record.lines] == [11, 12]
    [gap] = record.gaps
    assert gap.line == 11
    assert gap.end_s - gap.start_s == pytest.approx(5.0, abs=0.05)
    assert "lines-gap" in codes(record)
