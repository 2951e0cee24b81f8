"""What a scenario is made of: what there is (landscape, marks), how it is flown, how well all is known."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from accuracy.errors import UsageError
from accuracy.simulation.flight import Plants
from accuracy.simulation.landscape import Landscape
from accuracy.simulation.sites import Site


@dataclass(frozen=True)
class Payload:
    """Scanner and mount as they truly are.

    Attributes
    ----------
    pulse_rate_hz, sweep_rate_hz : float
        Pulses and sweeps per second; every sweep goes from left to right.
    half_angle_deg : float
        Sweeps reach this far to either side.
    divergence_mrad : float
        Full width of the beam where it has fallen to 1/e^2: 1.6 gives a footprint of 80 mm at 50 m.
    lever_arm_m : tuple of float
        From the inertial unit, whose position the trajectory gives, to the scanner: forward, right, down.
    boresight_deg : tuple of float
        Roll, pitch and heading of the scanner in the inertial unit's axes.
    """

    pulse_rate_hz: float = 9000.0
    sweep_rate_hz: float = 28.0
    half_angle_deg: float = 35.0
    divergence_mrad: float = 1.6
    lever_arm_m: tuple[float, float, float] = (0.045, -0.012, 0.110)
    boresight_deg: tuple[float, float, float] = (0.35, -0.22, 0.61)


@dataclass(frozen=True)
class Noise:
    """Standard deviations of everything random (common practice, no source, for a good flight).

    Attributes
    ----------
    gnss_m, gnss_time_s
        Position of the trajectory, east, north, up: first-order Gauss-Markov with this correlation time.
    shared_m
        What all of the flight shares with no checkpoint (base and its solution): east, north, up.
    attitude_deg, attitude_time_s
        Roll, pitch, heading of the trajectory: first-order Gauss-Markov.
    range_m, scan_deg : float
        Each pulse by itself.
    survey_h_m, survey_v_m : float
        Each checkpoint by itself: per horizontal axis, and height.
    survey_shared_m : tuple of float
        What all checkpoints share: east, north, up.
    boresight_deg, lever_arm_m
        Rest of the calibration, roll, pitch, heading and forward, right, down: constant in a flight.
    target_share : float
        Standard deviation per axis of a centre picked in the cloud, as a share of the point spacing; for the
        measured-points table and `Simulated.measured_m` only.
    """

    gnss_m: tuple[float, float, float] = (0.006, 0.006, 0.010)
    gnss_time_s: float = 60.0
    shared_m: tuple[float, float, float] = (0.003, 0.003, 0.005)
    attitude_deg: tuple[float, float, float] = (0.004, 0.004, 0.010)
    attitude_time_s: float = 30.0
    range_m: float = 0.010
    scan_deg: float = 0.001
    survey_h_m: float = 0.005
    survey_v_m: float = 0.006
    survey_shared_m: tuple[float, float, float] = (0.002, 0.002, 0.003)
    boresight_deg: tuple[float, float, float] = (0.0, 0.0, 0.0)
    lever_arm_m: tuple[float, float, float] = (0.0, 0.0, 0.0)
    target_share: float = 0.25


#: No noise at all, for checks of formulas.
SILENT = Noise(
    (0.0, 0.0, 0.0),
    60.0,
    (0.0, 0.0, 0.0),
    (0.0, 0.0, 0.0),
    30.0,
    0.0,
    0.0,
    0.0,
    0.0,
    (0.0, 0.0, 0.0),
    target_share=0.0,
)


@dataclass(frozen=True)
class Pass:
    """One straight pass, following the terrain: places relative to the terrain's origin, metres."""

    number: int
    start_m: tuple[float, float]
    end_m: tuple[float, float]
    above_m: float = 50.0
    speed_m_s: float = 5.0


@dataclass(frozen=True)
class Mark:
    """A place to be surveyed: relative to the terrain's origin; ``target`` names a target of the landscape."""

    id: str
    east_m: float
    north_m: float
    cover: str = "non-vegetated"
    what: str = "gravel"
    target: str = ""
    control: bool = False


@dataclass(frozen=True)
class Scenario:
    """What is flown, and over what.

    Attributes
    ----------
    name, about : str
        Name on the command line; what it is for, printed.
    site : Site
    landscape : Landscape
    passes : tuple of Pass
    marks : tuple of Mark
        Checkpoints and control; every target has one.
    blunder : str
        Id of the mark that `survey-blunder` spoils.
    payload, plants, noise
    cell_m : float
        Cell of the elevation raster.
    colour : bool
        Points have colours (LAS point format 7), else none (6).
    sway : float
        Share of the usual rolling, pitching and yawing; 0 for a level flight, straight ahead.
    """

    name: str
    about: str
    site: Site
    landscape: Landscape
    passes: tuple[Pass, ...]
    marks: tuple[Mark, ...]
    blunder: str
    payload: Payload = field(default_factory=Payload)
    plants: Plants = field(default_factory=Plants)
    noise: Noise = field(default_factory=Noise)
    cell_m: float = 0.5
    colour: bool = True
    sway: float = 1.0

    def check(self, faults: Mapping[str, float]) -> None:
        """Refuse faults that this scenario cannot have.

        Raises
        ------
        UsageError
            The site has no older realisation.
        """
        if faults.get("frame-older") and self.site.older_frame is None:
            raise UsageError(
                f"the site of scenario {self.name} has no older realisation of its frame",
                remedy="take the scenario corridor, which lies in GDA2020",
            )

    def with_noise(self, noise: Noise) -> Scenario:
        """Give the same scenario with other noise."""
        return replace(self, noise=noise)

    def with_density(self, points_per_m2: float) -> Scenario:
        """Give the same scenario with about so many points per square metre and pass, at nadir."""
        first = self.passes[0]
        # pulses per second of sweep, seconds per metre of way, radians per metre of swath
        half = math.radians(self.payload.half_angle_deg)
        rate_hz = points_per_m2 * first.speed_m_s * first.above_m * 2.0 * half
        sweep_hz = first.speed_m_s * points_per_m2**0.5
        return replace(
            self, payload=replace(self.payload, pulse_rate_hz=rate_hz, sweep_rate_hz=sweep_hz)
        )
