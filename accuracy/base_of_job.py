"""The base of a job: its files read, its coordinates understood, all checks made, and the record of it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from accuracy.base_checks.antenna_model import model_used
from accuracy.base_checks.cover import record_span
from accuracy.base_checks.record import (
    Antenna,
    Height,
    Side,
    Site,
    Solution,
    Span,
    Station,
    Vector,
)
from accuracy.base_checks.times import gps_seconds, of_gps_seconds, to_gps
from accuracy.errors import JobError, Problem
from accuracy.formats.antex import AntexAnswer, find_antenna, split_antenna
from accuracy.formats.rinex import read_rinex_header
from accuracy.formats.rinex_epochs import read_epochs
from accuracy.formats.site_log import read_site_log
from accuracy.georeferencing.geodetic import Points
from accuracy.georeferencing.grids import GridShelf
from accuracy.georeferencing.realisation import with_realisation
from accuracy.georeferencing.reference import Reference, declared
from accuracy.georeferencing.walkthrough import position
from accuracy.job.base import (
    TRIPLES,
    BaseAntenna,
    BaseCoordinates,
    BaseFlight,
    BaseSection,
    BaseSolution,
    HeightGiven,
    HeldCoordinates,
    MeasuredHeight,
    Occupation,
)
from accuracy.preparation import Prepared
from accuracy.units import to_metres


def read_station(prepared: Prepared) -> Station | None:
    """Read the files of the job's base and put everything together; None where the job has no base.

    Raises
    ------
    FormatError, ReferenceSystemError, JobError
        A file or a reference system cannot be used.
    """
    section = prepared.job.base
    if section is None:
        return None
    station = Station(
        mark=section.mark,
        published=_side(section.published, "published", "base.published"),
        held=_side(section.held, "held", "base.held"),
        antenna=_antenna(section.antenna),
        height=_height(section.height),
        second=_second(section.height),
        occupations=tuple(
            _span(occupation, f"occupation {number}", occupation.interval_s)
            for number, occupation in enumerate(section.occupation, 1)
        ),
        solutions=tuple(
            _solution(one, f"base.solution[{index}]") for index, one in enumerate(section.solution)
        ),
        same_base=section.survey_from_same_base,
        flight=None if section.flight is None else _span(section.flight, "[base.flight]"),
        site=_site(prepared),
        deliverables=tuple((d.setting.name, d.reference) for d in prepared.deliverables),
        shelf=GridShelf(
            prepared.job.grids.folders(prepared.job.folder), prepared.job.grids.geoid_files
        ),
    )
    if section.processing is not None:
        model = section.processing.antenna_model
        none = model is not None and model.strip().lower() == "none"
        station = replace(
            station,
            given=_height(section.processing.height),
            model=Antenna("", "")
            if none
            else (Antenna(*split_antenna(model)) if model is not None else None),
            frequency=section.processing.frequency,
        )
    return _with_files(station, section)


def _with_files(station: Station, section: BaseSection) -> Station:
    files = section.located
    if "observation" in files:
        header = read_rinex_header(files["observation"].path)
        station = replace(
            station,
            header=header,
            header_name=files["observation"].written,
            epochs=read_epochs(files["observation"].path, header),
        )
    if "site_log" in files:
        station = replace(station, site_log=read_site_log(files["site_log"].path))
    if "antex" in files:
        path = files["antex"].path

        def answer(antenna: Antenna) -> AntexAnswer:
            return find_antenna(path, antenna.name, antenna.radome, antenna.serial)

        said = model_used(station)
        station = replace(
            station,
            antex_name=files["antex"].written,
            antex=None if station.antenna is None else answer(station.antenna),
            antex_model=answer(said[0]) if said is not None and said[0].name else None,
        )
    return station


def record_seconds(station: Station | None) -> tuple[str, float, float] | None:
    """Give the record of the base for other checks: name, first and last epoch in GPS seconds since 1980."""
    span = None if station is None else record_span(station)
    return None if span is None else (span.what, gps_seconds(span.start), gps_seconds(span.end))


def with_flight(station: Station, name: str, start_s: float, end_s: float) -> Station:
    """Take over when was flown, in GPS seconds since 1980, unless the job says so itself."""
    if station.flight is not None:
        return station
    span = Span(of_gps_seconds(start_s), of_gps_seconds(end_s), name)
    return replace(station, flight=span)


def _side(given: BaseCoordinates | None, who: str, where: str) -> Side | None:
    if given is None:
        return None
    reference = _reference(given, where)
    keys = TRIPLES[reference.horizontal_kind]
    x, y, z = (getattr(given, key) for key in keys)
    if x is None or y is None or z is None:
        raise JobError(
            "coordinates that do not belong to their reference system",
            where=where,
            problems=(
                Problem(
                    where,
                    f"{given.crs} is {reference.horizontal_kind}",
                    f"give {', '.join(keys)}",
                ),
            ),
        )
    held = given if isinstance(given, HeldCoordinates) else None
    return Side(
        who,
        reference,
        float(x),
        float(y),
        float(z),
        given.source,
        given.accuracy_h_m,
        given.accuracy_v_m,
        None if held is None else held.origin,
        None if held is None else _height(held.solved_with),
    )


def _reference(given: BaseCoordinates, where: str) -> Reference:
    reference = declared(given.crs, geoid=given.geoid, epoch_year=given.epoch, where=f"{where}.crs")
    if given.realisation is not None:
        reference = with_realisation(reference, given.realisation, f"realisation of {where}")
    if reference.horizontal_kind not in TRIPLES or not reference.horizontal_known:
        raise JobError(
            f"{given.crs} is no system that coordinates of a mark can be in",
            where=f"{where}.crs",
            remedy="write a projected, geographic or geocentric system with a datum, such as EPSG:6319",
        )
    return reference


def _antenna(given: BaseAntenna | None) -> Antenna | None:
    if given is None:
        return None
    name, radome = split_antenna(given.type)
    return Antenna(name, (given.radome or radome).upper(), given.serial or "")


def _height(given: HeightGiven | None) -> Height | None:
    if given is None:
        return None
    return Height(
        to_metres(given.value, given.unit),
        f"{given.value:g} {given.unit.symbol}",
        given.kind,
        given.to,
        given.radius_m,
        given.offset_m,
        given.measured_by if isinstance(given, MeasuredHeight) else None,
    )


def _second(given: MeasuredHeight | None) -> Height | None:
    first = _height(given)
    if given is None or first is None or given.second_value is None:
        return None
    return replace(
        first,
        value_m=to_metres(given.second_value, given.unit),
        written=f"{given.second_value:g} {given.unit.symbol}",
        by=given.second_measured_by,
    )


def _span(given: Occupation | BaseFlight, what: str, interval_s: float | None = None) -> Span:
    system = given.time_system or ""
    return Span(to_gps(given.start, system), to_gps(given.end, system), what, interval_s)


def _solution(given: BaseSolution, where: str) -> Solution:
    side = _side(given, given.name, where)
    assert side is not None

    def counts(used: int | None, total: int | None) -> tuple[int, int] | None:
        return None if used is None or total is None else (used, total)

    def vector(prefix: str) -> Vector | None:
        values = [getattr(given, f"{prefix}_{axis}_m") for axis in ("east", "north", "up")]
        return None if all(value is None for value in values) else Vector(*values)

    return Solution(
        side,
        given.kind,
        given.hours,
        counts(given.observations_used, given.observations_total),
        counts(given.ambiguities_fixed, given.ambiguities_total),
        given.rms_m,
        given.orbits,
        vector("peak_to_peak"),
        vector("sigma"),
    )


def _site(prepared: Prepared) -> Site | None:
    """Take the middle of the surveyed points."""
    points = prepared.table.points
    east = float(np.median([point.easting for point in points]))
    north = float(np.median([point.northing for point in points]))
    height = float(np.median([point.height for point in points]))
    found = position(prepared.surveyed, east, north, height)
    if found is None:
        return None
    known = bool(np.isfinite(found.h_m[0]))
    kind = prepared.surveyed.vertical_kind if known else None
    return Site(Points(found.lon_deg, found.lat_deg, np.nan_to_num(found.h_m)), kind)
