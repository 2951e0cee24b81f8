"""The antenna on the mark: is it known, is its radome stated, do the papers agree about it."""

from __future__ import annotations

from collections.abc import Iterator

from accuracy.base_checks.antenna_heights import same_antenna
from accuracy.base_checks.record import Antenna, BaseCheck, Station
from accuracy.findings import Severity
from accuracy.formats.antex import split_antenna

#: Codes that stand for "not known" in files of receivers.
NAMELESS = ("", "UNKNOWN", "UNKNOWN EXT", "NONE", "ROVER", "EXTERNAL", "GENERIC")


def check(station: Station) -> Iterator[BaseCheck]:
    """Look at the codes one by one."""
    antenna = station.antenna
    if antenna is None or antenna.name.upper() in NAMELESS:
        yield BaseCheck(
            "base-antenna",
            "antenna-not-named",
            Severity.WARNING,
            "the antenna on the mark is not named"
            + (f' ("{antenna.name}")' if antenna is not None and antenna.name else ""),
            remedy="write [base.antenna] type with the 20 columns of the IGS code, read off the "
            "antenna itself",
        )
        return
    if not antenna.radome:
        yield BaseCheck(
            "base-antenna",
            "radome-not-stated",
            Severity.WARNING,
            f"no radome is stated for {antenna.name}: none may be assumed, and none was looked up "
            "(a radome moves the phase centre by millimetres to centimetres, mostly up)",
            remedy='write radome = "NONE" or the code of the radome under [base.antenna]',
            component="vertical",
        )
    yield from _in_antex(station, antenna)
    yield from _papers(station, antenna)


def _in_antex(station: Station, antenna: Antenna) -> Iterator[BaseCheck]:
    answer = station.antex
    if answer is None:
        return
    found = answer.antenna
    if found is None:
        known = f"; there with radome {', '.join(answer.radomes)}" if answer.radomes else ""
        fallback = answer.without_radome is not None
        yield BaseCheck(
            "base-antenna",
            "radome-not-calibrated" if answer.radomes else "antenna-not-calibrated",
            Severity.WARNING,
            f"{station.antex_name} holds no calibration for {antenna.full}{known}"
            + (
                "; that without radome is used here, which may be wrong by millimetres to "
                "centimetres, mostly up"
                if fallback
                else ""
            ),
            remedy="check both codes letter for letter (codes are renamed at times), or use a newer "
            "ANTEX file",
            component="vertical",
        )
    if answer.pcv_type == "R":
        yield BaseCheck(
            "base-antenna",
            "relative-calibration",
            Severity.WARNING,
            f"{station.antex_name} holds relative calibrations, which must not be mixed with absolute ones",
            remedy="use the absolute file that belongs to the frame (igs20.atx with ITRF2020)",
            component="vertical",
        )
    if found is not None and found.announced not in (None, len(found.offsets)):
        yield BaseCheck(
            "base-antenna",
            "calibration-incomplete",
            Severity.NOTE,
            f"{station.antex_name} announces {found.announced} frequencies for {antenna.full} and holds "
            f"{len(found.offsets)}",
            component="vertical",
        )


def _papers(station: Station, antenna: Antenna) -> Iterator[BaseCheck]:
    """Hold the crew's words against header and site log."""
    for where, name, serial in _written(station):
        other = Antenna(*split_antenna(name))
        if other.name.upper() in NAMELESS:
            continue  # told where the header's records are checked
        if not same_antenna(antenna, other):
            yield BaseCheck(
                "base-antenna",
                "antenna-differs",
                Severity.WARNING,
                f'the job names antenna "{antenna.full}", {where} "{other.full}"',
                remedy="read the label on the antenna, and correct what is wrong",
            )
        elif antenna.serial and serial and antenna.serial.lstrip("0") != serial.lstrip("0"):
            yield BaseCheck(
                "base-antenna",
                "antenna-serial-differs",
                Severity.NOTE,
                f"the job names serial number {antenna.serial}, {where} {serial}",
            )


def _written(station: Station) -> Iterator[tuple[str, str, str]]:
    header, log = station.header, station.site_log
    if header is not None and "ANT # / TYPE" not in header.missing:
        yield station.header_name, header.antenna_field, header.antenna_serial
    if log is not None and log.antennas:
        when = header.first.when if header is not None and header.first is not None else None
        entry = log.at(when) if when is not None else log.antennas[-1]
        if entry is not None:
            yield f"the site log of {log.station}", entry.antenna_field, entry.serial
