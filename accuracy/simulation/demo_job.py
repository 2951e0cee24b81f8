"""Texts of the demo: its CRS and its job file."""

from __future__ import annotations

#: EPSG:6341+5703 as WKT 1, the dialect LAS 1.4 asks for. Written out, so that the bytes of the demo do not
#: depend on the version of the EPSG data at hand. A test compares it with PROJ.
CRS_WKT = (
    'COMPD_CS["NAD83(2011) / UTM zone 12N + NAVD88 height",'
    'PROJCS["NAD83(2011) / UTM zone 12N",GEOGCS["NAD83(2011)",'
    'DATUM["NAD83_National_Spatial_Reference_System_2011",SPHEROID["GRS 1980",6378137,'
    '298.257222101,AUTHORITY["EPSG","7019"]],AUTHORITY["EPSG","1116"]],'
    'PRIMEM["Greenwich",0,AUTHORITY["EPSG","8901"]],UNIT["degree",0.0174532925199433,'
    'AUTHORITY["EPSG","9122"]],AUTHORITY["EPSG","6318"]],'
    'PROJECTION["Transverse_Mercator"],PARAMETER["latitude_of_origin",0],'
    'PARAMETER["central_meridian",-111],PARAMETER["scale_factor",0.9996],'
    'PARAMETER["false_easting",500000],PARAMETER["false_northing",0],UNIT["metre",1,'
    'AUTHORITY["EPSG","9001"]],AXIS["Easting",EAST],AXIS["Northing",NORTH],'
    'AUTHORITY["EPSG","6341"]],VERT_CS["NAVD88 height",'
    'VERT_DATUM["North American Vertical Datum 1988",2005,AUTHORITY["EPSG","5103"]],'
    'UNIT["metre",1,AUTHORITY["EPSG","9001"]],AXIS["Gravity-related height",UP],'
    'AUTHORITY["EPSG","5703"]]]'
)

JOB_TEXT = """\
# A job says what was delivered, what it is tested against, and what is claimed of it.
# Lines that start with # are comments. Paths are relative to this file.
# Everything in this folder is simulated; place, firm and people are invented.

[job]
title = "Accuracy of the May survey"       # printed on top of the report
site = "Hessoway Flats, east yard"
prepared_for = "Morrowhelm Aggregates"
prepared_by = "Quandril Mapping, O. Brackenfurth"
flown = 2026-05-14
display_units = "metre"                    # or "foot", "us-survey-foot"; only for printing

# ---- What is trusted: points surveyed on the ground, independent of the flight ----

[checkpoints]
file = "checkpoints/site.csv"
crs = "EPSG:6341+5703"                     # NAD83(2011) / UTM zone 12N + NAVD88 height
geoid = "GEOID18"                          # the model that turned GNSS heights into NAVD88 heights
survey_rmse_h_m = 0.010                    # how good the survey itself is: horizontal, radial
survey_rmse_v_m = 0.015                    # and vertical
control = ["C1", "C2", "C3", "C4"]         # used in processing, so never used for testing

# A point may be left out only with a reason; the report prints both.
[[checkpoints.exclude]]
id = "CP31"
reason = "ground at the mark disturbed by an excavator between survey and flight"

# CP17 carries a mistake of the survey (the rod height) and is deliberately still in the table:
# watch how it is reported. A large error is to be investigated, not dropped because it is large.

# ---- What is tested: the deliverables ----

[[dataset]]
name = "ground cloud"                      # your name for it; claims below refer to it
kind = "point-cloud"
files = ["cloud/*.laz"]                    # all tiles together are one dataset
crs = "EPSG:6341+5703"                     # asserts what the files say; they must agree
geoid = "GEOID18"
ground_classes = [2]                       # LAS classes that are bare ground
height = "tin"                             # height at a checkpoint: on the triangle around it

[[dataset]]
name = "elevation raster"
kind = "raster"
files = ["dem.tif"]
crs = "EPSG:6341+5703"
geoid = "GEOID18"
height = "bilinear"

[[dataset]]
name = "orthophoto targets"                # where the targets appear in the orthophoto, by hand
kind = "measured-points"
files = ["measured.csv"]
crs = "EPSG:6341+5703"

[[dataset]]
name = "evening targets"                   # a second orthophoto; few targets were lit
kind = "measured-points"
files = ["measured_evening.csv"]
crs = "EPSG:6341+5703"

# ---- What it all stands on: the GNSS base. Try: accuracy base job.toml ----

[base]
mark = "Hessoway pillar 2"
observation = "base/pillar2.26o"           # RINEX observation file
antex = "base/antennas.atx"                # calibrations the processing used
survey_from_same_base = false              # the checkpoints came from a network of stations

[base.published]                           # what someone else vouches for
crs = "EPSG:6341+5703"
geoid = "GEOID18"
easting = 411300.215
northing = 4541800.347
height = 1316.482
source = "control sheet 114 of the works"
accuracy_h_m = 0.010
accuracy_v_m = 0.015

[base.held]                                # what the processing was told
crs = "EPSG:6341+5703"
geoid = "GEOID18"
easting = 411300.215
northing = 4541800.347
height = 1316.482
origin = "published"                       # or own-solution, autonomous, other

[base.antenna]
type = "QUANTENNA_7     NONE"              # 20 columns, the radome in the last four
serial = "A0117"

[base.height]                              # as measured over the mark, twice
value = 1.672
second_value = 1.673
unit = "metre"
kind = "slant"                             # or vertical
to = "rim"                                 # or arp (the antenna reference point), phase-centre
radius_m = 0.095
offset_m = 0.044                           # the rim mark above the reference point
measured_by = "O. Brackenfurth"
second_measured_by = "T. Wexcombe"

[base.processing]
height = { value = 1.6258, unit = "metre", kind = "vertical", to = "arp" }
antenna_model = "QUANTENNA_7     NONE"
frequency = "L1"

[[base.occupation]]
start = 2026-05-14T15:20:00
end = 2026-05-14T19:10:00
time_system = "GPS"
interval_s = 1.0

# ---- How it was flown: held against the ground of the cloud and the times of its points ----

[trajectory]
file = "trajectory.csv"
crs = "EPSG:6341+5703"
geoid = "GEOID18"
time = "gps-seconds-of-week"
week = 2418
planned_height_m = 50.0                    # above the ground
planned_height_tolerance_m = 5.0

# ---- What is claimed: each claim gets its own verdict ----

[[claim]]                                  # passes, although CP17 is in it
dataset = "ground cloud"
standard = "asprs-2024"
vertical_class_cm = 5.0

[[claim]]                                  # fails: the raster was made from heights not yet adjusted
dataset = "elevation raster"
standard = "asprs-2024"
vertical_class_cm = 5.0

[[claim]]                                  # no statement: 12 points, and the document wants 30
dataset = "evening targets"
standard = "asprs-2024"
horizontal_class_cm = 5.0

[[claim]]                                  # no limit claimed: the figure is reported, nothing judged
dataset = "orthophoto targets"
standard = "nssda-1998"
"""
