"""Where stored coordinates fall on the globe by their own declaration; for plausibility, never for results."""

from __future__ import annotations

import math

from accuracy.georeferencing.crs import parse, unbound


def on_globe(horizontal_wkt: str, x: float, y: float) -> tuple[float, float] | None:
    """Give longitude and latitude in degrees, on the system's own datum: no change of datum is made.

    Parameters
    ----------
    horizontal_wkt : str
        A projected system, or a geographic one (then x, y are degrees already).
    x, y : float
        Easting and northing in the system's unit.

    Returns
    -------
    tuple of float or None
        None where the place lies on no globe, or the system is neither projected nor geographic.
    """
    from pyproj import Transformer
    from pyproj.exceptions import ProjError

    crs = unbound(parse(horizontal_wkt, "plausibility"))
    if crs.is_geographic:
        return (x, y) if abs(x) <= 360.0 and abs(y) <= 90.0 else None
    base = crs.geodetic_crs
    if not crs.is_projected or base is None:
        return None
    try:
        transformer = Transformer.from_crs(
            crs, base, always_xy=True, allow_ballpark=False, only_best=True
        )
        lon, lat = transformer.transform(x, y, errcheck=True)
    except ProjError:
        return None
    degrees = math.degrees(float(base.axis_info[0].unit_conversion_factor))  # grads in old systems
    prime = base.prime_meridian
    east = (
        math.degrees(float(prime.longitude) * float(prime.unit_conversion_factor)) if prime else 0.0
    )
    lon, lat = lon * degrees + east, lat * degrees
    return (lon, lat) if math.isfinite(lon) and math.isfinite(lat) else None


def scale_of_projection(horizontal_wkt: str, lon: float, lat: float) -> float | None:
    """Give length in the plane over length on the ellipsoid, the mean of both principal directions.

    None where the system is not projected, or has no such factor there.
    """
    from pyproj import Proj
    from pyproj.exceptions import ProjError

    crs = unbound(parse(horizontal_wkt, "plausibility"))
    if not crs.is_projected:
        return None
    try:
        factors = Proj(crs).get_factors(lon, lat, errcheck=True)
    except ProjError:
        return None
    mean = (float(factors.meridional_scale) + float(factors.parallel_scale)) / 2.0
    return mean if math.isfinite(mean) else None
