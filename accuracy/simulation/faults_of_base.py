"""Faults of the base and its antenna: the whole deliverable moves as one."""

from __future__ import annotations

from accuracy.simulation.fault_record import Array, Fault, Where

FEET_PER_METRE = 1.0 / 0.3048


def _up(size: float, where: Where) -> Array:
    return where.vector(0.0, 0.0, size)


BASE_FAULTS: tuple[Fault, ...] = (
    Fault(
        name="base-slant",
        family="map",
        unit="m",
        example="44mm",
        largest=0.2,
        what="The slant height to the antenna's rim was typed as the vertical height to its reference point.",
        sign="positive: the slant is longer than the vertical height (it always is)",
        vector="(0, 0, +size) everywhere; size = s - (sqrt(s^2 - R^2) - o)",
        seen="All heights high by the same few centimetres, small spread; accuracy base finds the slip in the "
        "base log to the tenth of a millimetre.",
        alike="antenna-model, lever-down, geoid-model: told apart by the exact match with the base log.",
        vector_m=_up,
    ),
    Fault(
        name="antenna-height",
        family="map",
        unit="times",
        example="-1x",
        largest=2.0,
        what="The antenna height was left out of the processing (-1) or added twice (+1).",
        sign="-1: omitted, all too low; +1: entered twice, all too high",
        vector="(0, 0, size * H), H the antenna height over the mark",
        seen="A constant of a metre and a half; the magnitude equals DELTA H of the RINEX header.",
        alike="base-up: only the match with the header tells.",
        vector_m=lambda size, where: _up(size * where.site.antenna.height_m, where),
        whole=True,
    ),
    Fault(
        name="antenna-feet",
        family="map",
        unit="times",
        example="1x",
        largest=1.0,
        what="The antenna height was read in feet and typed as metres.",
        sign="+1: the number of feet used as metres, all too high",
        vector="(0, 0, size * 2.2808 * H)",
        seen="Heights more than three metres high, all the same; the ratio of typed to true height is 3.2808.",
        alike="geoid-omitted, base-autonomous: those match other numbers, and the latter moves the plan, too.",
        vector_m=lambda size, where: _up(
            size * (FEET_PER_METRE - 1.0) * where.site.antenna.height_m, where
        ),
        whole=True,
    ),
    Fault(
        name="phase-centre",
        family="map",
        unit="times",
        example="1x",
        largest=1.0,
        what="The height was typed to the phase centre and the calibration added again (+1), or no calibration "
        "was applied at the base (-1).",
        sign="+1: the phase centre counts twice, all too high; -1: not at all, all too low",
        vector="(0, 0, size * PCO), PCO the phase centre over the reference point",
        seen="A constant of five to thirty centimetres that equals UP of the ANTEX file.",
        alike="base-slant is smaller as a rule; the ANTEX file decides.",
        vector_m=lambda size, where: _up(size * where.site.antenna.phase_centre_up_m, where),
        whole=True,
    ),
    Fault(
        name="antenna-model",
        family="map",
        unit="m",
        example="18mm",
        largest=0.3,
        what="The calibration of another antenna or radome was applied at the base.",
        sign="positive: the offset used is larger than the true one, all too high",
        vector="(0, 0, +size); the few millimetres in plan and by elevation are left out",
        seen="A constant in height; the model in the processing is not the one on the mark.",
        alike="base-slant, lever-down, geoid-model.",
        vector_m=_up,
    ),
    Fault(
        name="base-east",
        family="map",
        unit="m",
        example="0.12m",
        largest=100.0,
        what="The base was held at a wrong easting: a nearby mark, or a slip in the number.",
        sign="positive: held too far east, everything too far east",
        vector="(+size, 0, 0)",
        seen="Nothing at all on flat checkpoints; on slopes heights are wrong by minus size times the rise to "
        "the east, so the sign follows the aspect. Targets show it plainly.",
        alike="feet, epoch, frame: those have directions and sizes of their own.",
        vector_m=lambda size, where: where.vector(size, 0.0, 0.0),
    ),
    Fault(
        name="base-north",
        family="map",
        unit="m",
        example="-0.12m",
        largest=100.0,
        what="The base was held at a wrong northing.",
        sign="positive: held too far north, everything too far north",
        vector="(0, +size, 0)",
        seen="As base-east, with the rise to the north.",
        alike="as base-east; a body-fixed error changes sign with the heading, this does not.",
        vector_m=lambda size, where: where.vector(0.0, size, 0.0),
    ),
    Fault(
        name="base-up",
        family="map",
        unit="m",
        example="60mm",
        largest=100.0,
        what="The base was held at a wrong height.",
        sign="positive: held too high, everything too high",
        vector="(0, 0, +size)",
        seen="A constant in height.",
        alike="every other cause of a constant height: geoid-model, antenna, lever-down. Records decide, or a "
        "second day with another set-up.",
        vector_m=_up,
    ),
    Fault(
        name="base-autonomous",
        family="map",
        unit="times",
        example="1x",
        largest=1.0,
        what="The base was held at the position its receiver computed by itself.",
        sign="+1: as it happens",
        vector="size * (autonomous minus true position), one to ten metres, all three components",
        seen="A constant of metres in plan and height that equals the position in the RINEX header minus the "
        "true one.",
        alike="frame: about a metre too, but with the direction of the frames' difference.",
        vector_m=lambda size, where: where.vector(
            *(size * part for part in where.site.autonomous_m)
        ),
        whole=True,
    ),
)
