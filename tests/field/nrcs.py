"""Write a tiny soil survey in the NRCS layout, so that each break of it is easy to make.

The columns come in an order of our own, for only the download's dictionary may say it.
"""

from collections.abc import Mapping, Sequence
from pathlib import Path

import geopandas as gpd
from shapely.geometry import Polygon, box

from tests.field.ground import in_degrees

COLUMNS = {
    "mapunit": ["mukey", "mukind", "muname", "musym"],
    "component": [
        "cokey", "compname", "comppct_l", "comppct_r", "compkind", "drainagecl", "hydgrp",
        "taxorder", "mukey",
    ],
    "chorizon": [
        "hzdept_r", "hzdepb_r", "hzname", "claytotal_r", "silttotal_r", "sandtotal_r", "om_r",
        "dbthirdbar_r", "lep_r", "chkey", "cokey",
    ],
    "chfrags": ["chfragskey", "fragvol_r", "fragkind", "chkey"],
}  # fmt: skip
STEMS = {"component": "comp"}  # the dictionary must say this, for nothing else does
Rows = Sequence[Mapping[str, object]]

MAP_UNIT = {"mukey": "1", "musym": "7A", "muname": 'Alpha "wet" loam,\n2 to 6 % slopes'}
# The worked check of survey weighting: 60 % clay 20 over 30, 30 % clay 35, 10 % no soil.
COMPONENTS = [
    {
        "cokey": "20",
        "mukey": "1",
        "compname": "Alpha",
        "comppct_r": 60,
        "compkind": "Series",
        "drainagecl": "Well drained",
        "hydgrp": "B",
    },
    {
        "cokey": "10",
        "mukey": "1",
        "compname": "Beta",
        "comppct_r": 30,
        "compkind": "Series",
        "drainagecl": "Poorly drained",
        "hydgrp": "C/D",
    },
    {
        "cokey": "30",
        "mukey": "1",
        "compname": "Rock outcrop",
        "comppct_r": 10,
        "compkind": "Miscellaneous area",
    },
]
HORIZONS = [
    {
        "chkey": "201", "cokey": "20", "hzname": "Ap", "hzdept_r": 0, "hzdepb_r": 18,
        "sandtotal_r": 40, "silttotal_r": 40, "claytotal_r": 20, "om_r": 3.0,
        "dbthirdbar_r": 1.3, "lep_r": 1.5,
    },
    {
        "chkey": "202", "cokey": "20", "hzname": "Bt", "hzdept_r": 18, "hzdepb_r": 30,
        "sandtotal_r": 35, "silttotal_r": 35, "claytotal_r": 30,
    },
    {
        "chkey": "101", "cokey": "10", "hzname": "Ap", "hzdept_r": 0, "hzdepb_r": 25,
        "sandtotal_r": 25, "silttotal_r": 40, "claytotal_r": 35, "om_r": 6.0,
        "dbthirdbar_r": 1.2, "lep_r": 4.5,
    },
    {"chkey": "102", "cokey": "10", "hzname": "Bg", "hzdept_r": 25, "hzdepb_r": 60},
]  # fmt: skip
# Three kinds of fragments in one horizon: 15 + 10 + 3 % by volume.
FRAGMENTS = [
    {"chfragskey": "1", "fragvol_r": 15, "fragkind": "Gravel", "chkey": "201"},
    {"chfragskey": "2", "fragvol_r": 10, "fragkind": "Cobbles", "chkey": "201"},
    {"chfragskey": "3", "fragvol_r": 3, "fragkind": "Stones", "chkey": "201"},
]


def write_survey(
    folder: Path,
    *,
    map_units: Rows = (MAP_UNIT,),
    components: Rows = COMPONENTS,
    horizons: Rows = HORIZONS,
    fragments: Rows = FRAGMENTS,
    polygons: Mapping[Polygon, str] | None = None,
) -> Path:
    """Write `spatial` and `tabular`. Polygons are in LOCAL, with their map unit's key."""
    tabular, spatial = folder / "tabular", folder / "spatial"
    tabular.mkdir(parents=True)
    spatial.mkdir()
    tables = {
        "mapunit": map_units,
        "component": components,
        "chorizon": horizons,
        "chfrags": fragments,
    }
    for table, rows in tables.items():
        lines = [_line([row.get(name) for name in COLUMNS[table]]) for row in rows]
        (tabular / f"{STEMS.get(table, table)}.txt").write_text("".join(lines), newline="")
    (tabular / "mstab.txt").write_text(
        "".join(_line([t, t, t, 'a "table"', STEMS.get(t, t)]) for t in COLUMNS)
    )
    (tabular / "mstabcol.txt").write_text(
        "".join(
            _line([table, number, name, *[None] * 11])
            for table, names in COLUMNS.items()
            for number, name in enumerate(names, start=1)
        )
    )
    (tabular / "version.txt").write_text("2.3.3\n")
    shapes = polygons or {box(0, 0, 400, 400): "1"}
    gpd.GeoDataFrame(
        {"AREASYMBOL": ["ZZ001"] * len(shapes), "MUKEY": list(shapes.values())},
        geometry=[in_degrees(shape) for shape in shapes],
        crs="EPSG:4326",
    ).to_file(spatial / "soilmu_a_zz001.shp")
    return folder


def _line(cells: Sequence[object]) -> str:
    return "|".join(map(_cell, cells)) + "\r\n"


def _cell(cell: object) -> str:
    if cell is None:
        return ""
    return '"' + cell.replace('"', '""') + '"' if isinstance(cell, str) else str(cell)
