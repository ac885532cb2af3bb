"""Lay invented soils out as the files of a USDA soil survey download: its map and its tables.

The tables have no heads: the download carries its own dictionary of columns, so the true
names and the true order of all of them are here, though few are filled. "*" stands for
the three columns _l, _r and _h: low, representative and high.
"""

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

import geopandas as gpd
from shapely.geometry import MultiPolygon, Polygon

REVISED = "2026-01-01"  # fixed, or a map's table would tell the day it was made

COLUMNS = {
    "legend": """
        areatypename areasymbol areaname areaacres mlraoffice legenddesc ssastatus
        mouagncyresp projectscale cordate ssurgoarchived legendsuituse legendcertstat lkey
    """,
    "mapunit": """
        musym muname mukind mustatus muacres mapunitlfw* mapunitpfa* farmlndcl muhelcl
        muwathelcl muwndhelcl interpfocus invesintens iacornsr nhiforsoigrp nhspiagr
        vtsepticsyscl mucertstat lkey mukey
    """,
    "muaggatt": """
        musym muname mustatus slopegraddcp slopegradwta brockdepmin wtdepannmin
        wtdepaprjunmin flodfreqdcd flodfreqmax pondfreqprs aws025wta aws050wta aws0100wta
        aws0150wta drclassdcd drclasswettest hydgrpdcd iccdcd iccdcdpct niccdcd niccdcdpct
        engdwobdcd engdwbdcd engdwbll engdwbml engstafdcd engstafll engstafml engsldcd
        engsldcp englrsdcd engcmssdcd engcmssmp urbrecptdcd urbrecptwta forpehrtdcp hydclprs
        awmmfpwwta mukey
    """,
    "component": """
        comppct* compname compkind majcompflag otherph localphase slope* slopelenusle*
        runoff tfact wei weg erocl earthcovkind1 earthcovkind2 hydricon hydricrating
        drainagecl elev* aspectccwise aspectrep aspectcwise geomdesc albedodry* airtempa*
        map* reannualprecip* ffd* nirrcapcl nirrcapscl nirrcapunit irrcapcl irrcapscl
        irrcapunit cropprodindex constreeshrubgrp wndbrksuitgrp rsprod* foragesuitgrpid
        wlgrain wlgrass wlherbaceous wlshrub wlconiferous wlhardwood wlwetplant wlshallowwat
        wlrangeland wlopenland wlwoodland wlwetland soilslippot frostact initsub* totalsub*
        hydgrp corcon corsteel taxclname taxorder taxsuborder taxgrtgroup taxsubgrp
        taxpartsize taxpartsizemod taxceactcl taxreaction taxtempcl taxmoistscl
        taxtempregime soiltaxedition castorieindex flecolcomnum flhe flphe flsoilleachpot
        flsoirunoffpot fltemik2use fltriumph2use indraingrp innitrateleachi misoimgmtgrp
        vasoimgtgrp mukey cokey
    """,
    "chorizon": """
        hzname desgndisc desgnmaster desgnmasterprime desgnvert hzdept* hzdepb* hzthk*
        fraggt10* frag3to10* sieveno4* sieveno10* sieveno40* sieveno200* sandtotal* sandvc*
        sandco* sandmed* sandfine* sandvf* silttotal* siltco* siltfine* claytotal*
        claysizedcarb* om* dbtenthbar* dbthirdbar* dbfifteenbar* dbovendry* partdensity
        ksat* awc* wtenthbar* wthirdbar* wfifteenbar* wsatiated* lep* ll* pi* aashind*
        kwfact kffact caco3* gypsum* sar* ec* cec7* ecec* sumbases* ph1to1h2o* ph01mcacl2*
        freeiron* feoxalate* extracid* extral* aloxalate* pbray1* poxalate* ph2osoluble*
        ptotal* excavdifcl excavdifms cokey chkey
    """,
    "chfrags": """
        fragvol* fragkind fragsize* fragshp fraground fraghard chkey chfragskey
    """,
}
FILES = {"component": "comp"}  # the one table that is not filed under its own name
DICTIONARY_WIDTH = 14  # columns of the column dictionary; the prose ones stay empty
LEGEND_KEY = "90100"
MAJOR_PERCENT = 15  # a component with this share or more is a major one
Row = dict[str, object]


def survey_files(tiles: Sequence[tuple[str, Polygon]], soils: Mapping) -> dict[str, bytes]:
    """Give the content of each file of a survey whose map is the tiles, in WGS 84."""
    symbols = sorted({symbol for symbol, _ in tiles})
    area = soils["area_symbol"]
    map_files = shapefile(
        [shape for _, shape in tiles],
        {
            "AREASYMBOL": [area] * len(tiles),
            "SPATIALVER": [soils["survey_version"]] * len(tiles),
            "MUSYM": [symbol for symbol, _ in tiles],
            "MUKEY": [map_unit_key(symbol, soils) for symbol, _ in tiles],
        },
    )
    files = {f"spatial/soilmu_a_{area.lower()}{end}": data for end, data in map_files.items()}
    for table, rows in tables(symbols, soils).items():
        lines = (_line([row.get(name) for name in columns_of(table)]) for row in rows)
        files[f"tabular/{FILES.get(table, table)}.txt"] = "".join(lines).encode()
    files["tabular/mstab.txt"] = "".join(
        _line([table, table, None, None, FILES.get(table, table)]) for table in COLUMNS
    ).encode()
    files["tabular/mstabcol.txt"] = "".join(
        _line([table, number, name] + [None] * (DICTIONARY_WIDTH - 3))
        for table in COLUMNS
        for number, name in enumerate(columns_of(table), start=1)
    ).encode()
    files["tabular/version.txt"] = b"2.3.3\n"
    return files


def shapefile(
    shapes: Sequence[Polygon | MultiPolygon], columns: Mapping[str, Sequence]
) -> dict[str, bytes]:
    """Give the content of each file of one shapefile in WGS 84, by its ending.

    The bytes depend on nothing but what it holds.
    """
    frame = gpd.GeoDataFrame(dict(columns), geometry=list(shapes), crs="EPSG:4326")
    with TemporaryDirectory() as folder:
        path = Path(folder) / "made.shp"
        frame.to_file(path, driver="ESRI Shapefile", DBF_DATE_LAST_UPDATE=REVISED)
        return {
            ending: path.with_suffix(ending).read_bytes()
            for ending in (".shp", ".shx", ".dbf", ".prj")
        }


def columns_of(table: str) -> list[str]:
    """Name every column of a table, in order."""
    return [
        name.replace("*", end)
        for name in COLUMNS[table].split()
        for end in (("_l", "_r", "_h") if name.endswith("*") else ("",))
    ]


def map_unit_key(symbol: str, soils: Mapping) -> str:
    """Give a map unit the same key in every download."""
    return f"{LEGEND_KEY}{list(soils['unit']).index(symbol) + 1:02}"


def tables(symbols: Iterable[str], soils: Mapping) -> dict[str, list[Row]]:
    """Fill the rows of every table for the map units that the map shows."""
    rows: dict[str, list[Row]] = {table: [] for table in COLUMNS}
    rows["legend"].append(
        {
            "areatypename": "Non-MLRA Soil Survey Area",
            "areasymbol": soils["area_symbol"],
            "areaname": soils["area_name"],
            "legenddesc": "Invented for demonstration; no such ground exists",
            "projectscale": 12000,
            "lkey": LEGEND_KEY,
        }
    )
    for symbol in symbols:
        unit, mukey = soils["unit"][symbol], map_unit_key(symbol, soils)
        named: Row = {"musym": symbol, "muname": unit["name"], "mukey": mukey}
        kind = unit.get("kind", "Consociation")
        rows["mapunit"].append(named | {"mukind": kind, "lkey": LEGEND_KEY})
        first = soils["soil"][next(iter(unit["parts"]))]
        rows["muaggatt"].append(
            named
            | {
                "slopegraddcp": first.get("slope"),
                "drclassdcd": first.get("drainage"),
                "hydgrpdcd": first.get("group"),
            }
        )
        for part, (name, percent) in enumerate(unit["parts"].items(), start=1):
            soil, cokey = soils["soil"][name], f"{mukey}{part}"
            component = _component(name, percent, soil)
            rows["component"].append(component | {"mukey": mukey, "cokey": cokey})
            for layer, horizon in enumerate(soil.get("horizon", ()), start=1):
                chkey = f"{cokey}{layer}"
                rows["chorizon"].append(_horizon(horizon) | {"cokey": cokey, "chkey": chkey})
                if "stones" in horizon:
                    stones = _stones(horizon["stones"])
                    rows["chfrags"].append(stones | {"chkey": chkey, "chfragskey": f"{chkey}1"})
    return rows


def _component(name: str, percent: int, soil: Mapping) -> Row:
    return {
        "comppct_r": percent,
        "compname": name,
        "compkind": soil.get("kind", "Series"),
        "majcompflag": percent >= MAJOR_PERCENT,
        "slope_r": soil.get("slope"),
        "drainagecl": soil.get("drainage"),
        "hydgrp": soil.get("group"),
        "taxorder": soil.get("order"),
        "taxpartsize": soil.get("family"),
    }


def _horizon(horizon: Mapping) -> Row:
    sand, clay = horizon.get("sand"), horizon.get("clay")
    return {
        "hzname": horizon["name"],
        "desgnmaster": horizon["name"][0],
        "hzdept_r": horizon["top"],
        "hzdepb_r": horizon["bottom"],
        "sandtotal_r": sand,
        "silttotal_r": None if sand is None else 100 - sand - clay,
        "claytotal_r": clay,
        "om_r": horizon.get("organic"),
        "dbthirdbar_r": horizon.get("density"),
        "lep_r": horizon.get("swell"),
    }


def _stones(percent: int) -> Row:
    return {"fragvol_r": percent, "fragkind": "Mixed rock fragments", "fragsize_r": 20}


def _line(values: Iterable[object]) -> str:
    return "|".join(map(_written, values)) + "\n"


def _written(value: object) -> str:
    """Text in quotes, numbers bare, yes and no in three letters, nothing for unknown."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "Yes" if value else "No "
    return f'"{value}"' if isinstance(value, str) else str(value)
