"""Write a tiny soil survey in each shape that people get one, so that each is easy to break.

The columns come in an order of our own, for only the download's dictionary may say it.
"""

import json
from collections.abc import Mapping, Sequence
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pyogrio
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
        "dbthirdbar_r", "lep_r", "pi_r", "wthirdbar_r", "ll_r", "chkey", "cokey",
    ],
    "chfrags": ["chfragskey", "fragvol_r", "fragkind", "chkey"],
    "legend": ["areasymbol", "areaname", "lkey"],
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
        "dbthirdbar_r": 1.3, "lep_r": 1.5, "ll_r": 38, "pi_r": 14, "wthirdbar_r": 21.6,
    },
    {
        "chkey": "202", "cokey": "20", "hzname": "Bt", "hzdept_r": 18, "hzdepb_r": 30,
        "sandtotal_r": 35, "silttotal_r": 35, "claytotal_r": 30,
    },
    {
        "chkey": "101", "cokey": "10", "hzname": "Ap", "hzdept_r": 0, "hzdepb_r": 25,
        "sandtotal_r": 25, "silttotal_r": 40, "claytotal_r": 35, "om_r": 6.0,
        "dbthirdbar_r": 1.2, "lep_r": 4.5, "ll_r": 50, "pi_r": 20, "wthirdbar_r": 36,
    },
    {"chkey": "102", "cokey": "10", "hzname": "Bg", "hzdept_r": 25, "hzdepb_r": 60},
]  # fmt: skip
# Three kinds of fragments in one horizon: 15 + 10 + 3 % by volume.
FRAGMENTS = [
    {"chfragskey": "1", "fragvol_r": 15, "fragkind": "Gravel", "chkey": "201"},
    {"chfragskey": "2", "fragvol_r": 10, "fragkind": "Cobbles", "chkey": "201"},
    {"chfragskey": "3", "fragvol_r": 3, "fragkind": "Stones", "chkey": "201"},
]


LEGEND = [{"areasymbol": "ZZ001", "areaname": "Nowhere County", "lkey": "9"}]
POLYGONS = {box(0, 0, 400, 400): "1"}


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
        "legend": LEGEND,
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
    soil_map(polygons or POLYGONS).to_file(spatial / "soilmu_a_zz001.shp")
    return folder


def write_database(
    path: Path,
    *,
    tables: Sequence[str] = tuple(COLUMNS),
    layer: str | None = "MUPOLYGON",
    polygons: Mapping[Polygon, str] | None = None,
    crs: str | None = "EPSG:4326",
) -> Path:
    """Write a GeoPackage, or a file geodatabase where the path ends in .gdb."""
    driver = {".gpkg": "GPKG", ".gdb": "OpenFileGDB"}[path.suffix]
    if layer:
        shapes = soil_map(polygons or POLYGONS)
        shapes = shapes.to_crs(crs) if crs else shapes.set_crs(None, allow_override=True)
        pyogrio.write_dataframe(shapes, path, layer=layer, driver=driver)
    for table in tables:
        frame = pd.DataFrame(_ROWS[table], columns=COLUMNS[table])
        numbers = [name for name in frame if name.endswith("_r")]
        frame = frame.astype(dict.fromkeys(numbers, float))
        pyogrio.write_dataframe(frame, path, layer=table, driver=driver)
    return path


def answer(*, without: Sequence[str] = (), **extra: object) -> list[list[object]]:
    """Lay the survey out as one join: a row of names, then one for each kind of fragments.

    Keyword arguments are columns with the same value in each row.
    """
    rows = [
        legend | unit | component | horizon | fragment | extra
        for legend in _ROWS["legend"]
        for unit in _ROWS["mapunit"]
        for component in COMPONENTS
        for horizon in _below(HORIZONS, component, "cokey")
        for fragment in _below(FRAGMENTS, horizon, "chkey")
    ]
    names = [name for columns in COLUMNS.values() for name in columns] + list(extra)
    names = [name for name in dict.fromkeys(names) if name not in without]
    return [names, *([_text(row.get(name)) for name in names] for row in rows)]


def write_answer(path: Path, rows: Sequence[Sequence[object]] | None = None) -> Path:
    """Write the JSON answer of the data-access service."""
    path.write_text(json.dumps({"Table": answer() if rows is None else rows}))
    return path


def soil_map(polygons: Mapping[Polygon, str]) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(
        {"AREASYMBOL": ["ZZ001"] * len(polygons), "MUKEY": list(polygons.values())},
        geometry=[in_degrees(shape) for shape in polygons],
        crs="EPSG:4326",
    )


_ROWS = {
    "mapunit": [MAP_UNIT],
    "component": COMPONENTS,
    "chorizon": HORIZONS,
    "chfrags": FRAGMENTS,
    "legend": LEGEND,
}


def _below(rows: Rows, above: Mapping[str, object], key: str) -> Rows:
    """Join as an outer join does: where there is nothing below, one row of nothing."""
    return [row for row in rows if row[key] == above.get(key)] or [{}]


def _text(cell: object) -> str | None:
    return None if cell is None else str(cell)


def _line(cells: Sequence[object]) -> str:
    return "|".join(map(_cell, cells)) + "\r\n"


def _cell(cell: object) -> str:
    if cell is None:
        return ""
    return '"' + cell.replace('"', '""') + '"' if isinstance(cell, str) else str(cell)
