"""A job in which every name, note, reason, initial, attribute and file name means harm.

Each tells by its address where it came through.
"""

import datetime
import json

from shapely import to_geojson
from shapely.geometry import Point

from tests.pages.uploads import EAST, SQUARE, WEST, features, hill
from zoneplan.request import Drawn, Request
from zoneplan.rules import local_rules
from zoneplan.rules.rule import Source
from zoneplan.run import Job
from zoneplan.sources import Sources, Upload
from zoneplan.zones.edit import Override, Rename

SERVER = "evil.example"
DAY = datetime.date(2026, 4, 20)
WEST_AT, EAST_AT = (-93.0035, 42.0005), (-93.0005, 42.0025)
RAW_HTML = ("<img src=http:", "<img src=//", "<script>fetch", "<style>@", "<svg onload", "<b>owned")
RAW_MARKDOWN = ("![i](", "[l](", "**owned", ":red[", ":smile:", ":material/", "$x^2$", "`c`")


def evil(where):
    """Everything that a label, a page, a sheet or a terminal might act on."""
    at = f"//{SERVER}/{where}"
    return (
        f"{where} _a_ **owned** ~s~ ![i](http:{at}-1) [l](http:{at}-2) http:{at}-3 www.{SERVER} "
        f":red[r] :smile: :material/home: :blue-background[x] $x^2$ `c` -> -- <- "
        f"<img src=http:{at}-4 onerror=alert(1)><script>fetch('http:{at}-5')</script>"
        f"<style>@import 'http:{at}-6'</style><svg onload=alert(2)><b>owned</b> "
        f'#image("x") #read("/etc/passwd") \\input{{x}} {{{{7*7}}}} ${{x}} &lt;i&gt; '
        "'\"--> ]]> */ \x1b[2J\u202e"
    )


def evil_notch(number):
    """The same, as long as a saved plan lets it be."""
    return f"{number}![i](http://{SERVER}/notch)<img src=//{SERVER}/n> **owned**"


def hostile_job():
    """Ask with it."""
    boundary = features((SQUARE, {"name": evil("field"), "note": evil("attribute")}))
    soils = features(
        (WEST, {"texture": "loam", "name": evil("soil-west")}),
        (EAST, {"texture": "silty clay", "name": evil("soil-east")}),
    )
    tracks = features((SQUARE.centroid.buffer(0.0001), {"name": evil("track")}))
    knoll = features((Point(EAST_AT).buffer(0.0004), {"name": evil("drawn-in-a-file")}))
    request = Request(
        headland_passes=1,
        drawn=(Drawn("zone", evil("drawn-zone"), to_geojson(Point(WEST_AT).buffer(0.0005))),),
        edits=(
            Rename(WEST_AT, evil("zone")),
            Override(WEST_AT, "margin", "moist", 400.0, evil("why"), evil("initials"), DAY),
            Override(WEST_AT, "closing", "moist", evil_notch(2), evil("why-2"), "AB", DAY),
        ),
    )
    sources = Sources(
        machine=Upload(f"{evil('machine-file')}.toml", _machine()),
        boundary=Upload(f"{evil('boundary-file')}.geojson", boundary),
        soils=(Upload(f"{evil('soil-file')}.geojson", soils),),
        elevation=Upload(f"{evil('heights-file')}.tif", hill()[1]),
        tracks=Upload(f"{evil('tracks-file')}.geojson", tracks),
        zones=Upload(f"{evil('drawn-file')}.geojson", knoll),
        rules=tuple(Upload(file.name, file.content) for file in _rules()),
    )
    return Job(request, sources)


def _machine():
    notches = ", ".join(
        f'{{ name = {json.dumps(evil_notch(number))}, load = "{25 * number} lb" }}'
        for number in (1, 2, 3)
    )
    return f"""
name = {json.dumps(evil("planter"))}
rows = 8
row_spacing = "30 in"
speed = "4.5 mph"
depth = "2 in"
unit_weight = "150 lb"
attachments = "0 lb"
disc_diameter = "14.5 in"
hopper = "1.2 bu"
full = 1.0
refill = 0.1
test_weight = "56 lb/bu"
notches = [{notches}]
[system]
kind = "springs"
positions = ["0 lb", "100 lb", "200 lb", "300 lb"]
""".encode()


def _rules():
    change = local_rules.Change(
        decides="aim",
        rule="aim-medium-moist",
        numbers={"aim": 77.0},
        why=evil("rule-why"),
        warns=None,
        name="ours",
        initials="AB",
        on=DAY,
        title=evil("rule-title"),
        source=Source(evil("cite"), f"https://{SERVER}/link", "direction"),
    )
    return local_rules.changed((), change)
