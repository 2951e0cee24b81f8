"""Geoid grids: which file belongs to which model, and where it is. Only the folders of the job are searched."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType

from accuracy.georeferencing.geoids import same_geoid
from accuracy.georeferencing.operations import FRAMES

_ETRS = (
    "European Terrestrial Reference System 1989",
    FRAMES["ETRF2000"],
    FRAMES["ETRF2014"],
    FRAMES["ETRF2020"],
)
_GLOBAL = (
    *(datum for short, datum in FRAMES.items() if short.startswith(("ITRF", "WGS"))),
    "World Geodetic System 1984",
)
_NAD83_US = (FRAMES["NAD83(2011)"], FRAMES["NAD83(PA11)"], FRAMES["NAD83(MA11)"])
_CSRS = (
    "NAD83 Canadian Spatial Reference System",
    FRAMES["NAD83(CSRS)v7"],
    FRAMES["NAD83(CSRS)v8"],
)
_RGF93 = tuple(f"Reseau Geodesique Francais 1993 {version}" for version in ("v1", "v2", "v2b"))
_NAVD88 = "North American Vertical Datum 1988"


@dataclass(frozen=True)
class GeoidModel:
    """A geoid model: h = H + N.

    Attributes
    ----------
    name : str
        As a job writes it.
    files : tuple of str
        Customary file names, of the PROJ-data collection unless noted.
    frames : tuple of str
        Datum names: the ellipsoidal heights that N leads to are in one of these. The first is taken where
        another frame must be carried to it.
    datums : tuple of str
        Vertical datums whose heights the model serves.
    """

    name: str
    files: tuple[str, ...]
    frames: tuple[str, ...]
    datums: tuple[str, ...]


#: Models known by name. Files marked (r) were read, the names of the others are from memory; what frame and
#: vertical datum a model serves is from the grids' own records where read, else from memory.
MODELS: tuple[GeoidModel, ...] = (
    GeoidModel(
        "GEOID18",
        ("us_noaa_g2018u0.tif", "us_noaa_g2018p0.tif"),  # conterminous US; Puerto Rico (r)
        _NAD83_US,
        (_NAVD88, "Puerto Rico Vertical Datum of 2002", "Virgin Islands Vertical Datum of 2009"),
    ),
    GeoidModel(
        "GEOID12B",
        tuple(f"us_noaa_g2012b{part}0.tif" for part in "uahpgs"),
        _NAD83_US,
        (
            _NAVD88,
            "Puerto Rico Vertical Datum of 2002",
            "Virgin Islands Vertical Datum of 2009",
            "Guam Vertical Datum of 2004",
            "American Samoa Vertical Datum of 2002",
            "Northern Marianas Vertical Datum of 2003",
        ),
    ),
    GeoidModel("EGM96", ("us_nga_egm96_15.tif", "egm96_15.gtx"), _GLOBAL, ("EGM96 geoid",)),  # (r)
    GeoidModel("EGM2008", ("us_nga_egm08_25.tif", "egm08_25.gtx"), _GLOBAL, ("EGM2008 geoid",)),
    GeoidModel("OSGM15", ("uk_os_OSGM15_GB.tif",), _ETRS, ("Ordnance Datum Newlyn",)),  # (r)
    GeoidModel(
        "RAF20", ("fr_ign_RAF20.tif",), _RGF93, ("Nivellement General de la France - IGN69",)
    ),  # (r)
    GeoidModel(
        "RAF18", ("fr_ign_RAF18.tif",), _RGF93, ("Nivellement General de la France - IGN69",)
    ),
    GeoidModel("EGM08-REDNAP", ("es_ign_egm08-rednap.tif",), _ETRS, ("Alicante",)),  # (r)
    GeoidModel(
        "HT2.0", ("ca_nrc_HT2_2010v70.tif",), _CSRS, ("Canadian Geodetic Vertical Datum of 1928",)
    ),  # (r)
    GeoidModel(
        "CGG2013A",
        ("ca_nrc_CGG2013an83.tif",),
        _CSRS,
        ("Canadian Geodetic Vertical Datum of 2013 (CGG2013a) epoch 2010",),
    ),
    GeoidModel(
        "GCG2016",
        ("de_bkg_GCG2016v2023.tif", "de_bkg_gcg2016.tif"),
        (*_ETRS, "ETRS89/DREF91 Realization 2016"),
        ("Deutsches Haupthoehennetz 2016",),
    ),
    GeoidModel(
        "AUSGeoid2020",
        ("au_ga_AUSGeoid2020_20180201.tif",),
        (FRAMES["GDA2020"],),
        ("Australian Height Datum",),
    ),
    GeoidModel(
        "AUSGeoid09",
        ("au_ga_AUSGeoid09_V1.01.tif",),
        (FRAMES["GDA94"],),
        ("Australian Height Datum",),
    ),
)


@dataclass(frozen=True)
class GridShelf:
    """Where grids are looked for.

    Attributes
    ----------
    folders : tuple of Path
        Searched in this order, not below.
    files : mapping of str to str
        Name of a geoid model to the name or path of its file, from the job.
    """

    folders: tuple[Path, ...] = ()
    files: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))

    def names(self, model: str) -> tuple[str, ...]:
        """Give the file names a model goes by: that of the job, else the customary ones."""
        stated = tuple(file for name, file in self.files.items() if same_geoid(name, model))
        known = known_model(model)
        return stated or (known.files if known else ())

    def find(self, model: str) -> tuple[Path, ...]:
        """Find the files of a model that are there."""
        return tuple(
            place.absolute()
            for name in self.names(model)
            for place in [next((f / name for f in self.folders if (f / name).is_file()), None)]
            if place is not None
        )


def known_model(name: str) -> GeoidModel | None:
    """Give the model of this name; case and separators do not count."""
    return next((model for model in MODELS if same_geoid(model.name, name)), None)


def models_of(datum: str) -> tuple[str, ...]:
    """Name the models that serve a vertical datum."""
    return tuple(model.name for model in MODELS if datum in model.datums)


@lru_cache(maxsize=32)
def _sha256(path: Path, size: int, changed_ns: int) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def sha256(path: Path) -> str:
    """Give the hash of a grid file."""
    state = path.stat()
    return _sha256(path, state.st_size, state.st_mtime_ns)
