"""Made-up ground with a fixed seed: soils with winding borders, a field, a survey of any size."""

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import shapely
from numpy.typing import NDArray

from tests.field.nrcs import COLUMNS, STEMS
from zoneplan.field.crs import WGS_84, geodesic_area_ha, local_crs, move
from zoneplan.field.shapes import Field, SoilLayer
from zoneplan.soil.texture import SoilFacts, texture_class

LAT, LON = 42.0, -93.5
CRS = local_crs(shapely.Point(LON, LAT))
SIDE_M = 800.0  # of the field, 64 ha
PIECE_M2 = 50_000.0  # of a soil polygon of a survey, as those of Iowa are
_Shapes = NDArray[np.object_]


def field() -> Field:
    """A field of 64 ha with a winding edge, its middle at LAT and LON."""
    square = shapely.box(-SIDE_M / 2, -SIDE_M / 2, SIDE_M / 2, SIDE_M / 2).segmentize(10)
    shape = shapely.transform(square, _wound)
    return Field("bench", shape, CRS, geodesic_area_ha(shape, CRS))


def soils(pieces: int, seed: int = 13) -> SoilLayer:
    """A layer of which about so many polygons lie in the field, of a fifth as many soils."""
    shapes = coverage(round(2 * pieces), 1.4 * SIDE_M, seed)
    kinds = sorted(soil_kinds(max(6, pieces // 5), seed), key=lambda kind: kind.clay_frac)
    x, y = shapely.get_coordinates(shapely.centroid(shapes)).T
    # As on real ground, neighbours are alike: clay goes with the lie of the land, and by chance.
    lie = 0.5 + 0.35 * np.sin(x / 170) * np.cos(y / 140)
    lie += np.random.default_rng(seed).normal(0, 0.08, len(shapes))
    chosen = np.clip(lie * len(kinds), 0, len(kinds) - 1).astype(int)
    ground = gpd.GeoDataFrame(
        {"facts": [kinds[at] for at in chosen]}, geometry=list(in_degrees(shapes)), crs=WGS_84
    )
    return SoilLayer("bench", "soil survey", ground)


def soil_kinds(count: int, seed: int) -> list[SoilFacts]:
    """So many soils from sandy loam to silty clay loam."""
    random = np.random.default_rng(seed)
    made = []
    for number in range(count):
        clay = random.uniform(0.08, 0.38)
        sand = random.uniform(0.1, 0.9 - clay)
        made.append(
            SoilFacts(
                texture=texture_class(sand, 1 - sand - clay, clay),
                sand_frac=sand,
                silt_frac=1 - sand - clay,
                clay_frac=clay,
                organic_pct=random.uniform(1, 5),
                rated_share=1.0,
                drainage=str(random.choice(["Well drained", "Poorly drained"])),
                named=f"soil {number}",
            )
        )
    return made


def coverage(count: int, side_m: float, seed: int) -> _Shapes:
    """So many polygons with winding borders that tile a square about the middle. [m]."""
    random = np.random.default_rng(seed)
    square = shapely.box(-side_m / 2, -side_m / 2, side_m / 2, side_m / 2)
    places = shapely.multipoints(random.uniform(-side_m / 2, side_m / 2, (count, 2)))
    cells = shapely.get_parts(shapely.voronoi_polygons(places, extend_to=square))
    cells = shapely.intersection(cells, square)
    # Edges are cut before faces are laid out: so neighbours have all corners in common.
    lines = shapely.union_all(shapely.boundary(cells), grid_size=1e-3)
    step_m = side_m / count**0.5 / 12  # about sixty corners a polygon, as surveys have
    edges = shapely.segmentize(shapely.get_parts(shapely.line_merge(lines)), step_m)
    faces = shapely.get_parts(shapely.polygonize(edges))
    wound: _Shapes = shapely.transform(faces, _wound)
    return wound


def in_degrees(shapes: _Shapes) -> _Shapes:
    """To longitude and latitude with the eight decimals that a file may have."""
    moved = np.asarray(move(shapely.multipolygons(_parts(shapes)), CRS, WGS_84).geoms, dtype=object)
    rounded: _Shapes = shapely.transform(moved, lambda corners: corners.round(8))
    return rounded


def _parts(shapes: _Shapes) -> list[shapely.Polygon]:
    return [part for part in shapely.get_parts(shapes) if part.geom_type == "Polygon"]


def _wound(corners: NDArray[np.float64]) -> NDArray[np.float64]:
    """Bend the plane a little, without folding it: borders wind, neighbours still meet."""
    x, y = corners.T
    return np.column_stack(
        (
            x + 6 * np.sin(y / 31) + 2 * np.sin((x + y) / 11),
            y + 6 * np.sin(x / 29) + 2 * np.sin((x - y) / 13),
        )
    )


def survey_map(polygons: int) -> gpd.GeoDataFrame:
    """The map of a survey with so many polygons; one map unit a hundred of them."""
    shapes = coverage(polygons, (polygons * PIECE_M2) ** 0.5, 17)
    keys = np.random.default_rng(17).integers(1, map_units_of(polygons) + 1, size=len(shapes))
    return gpd.GeoDataFrame(
        {"AREASYMBOL": "ZZ001", "MUSYM": keys.astype(str), "MUKEY": keys.astype(str)},
        geometry=list(in_degrees(shapes)),
        crs=WGS_84,
    )


def map_units_of(polygons: int) -> int:
    """How many map units a survey of so many polygons has."""
    return max(20, polygons // 100)


def survey_tables(map_units: int) -> dict[str, pd.DataFrame]:
    """What the tables say: three components a map unit, four horizons a component."""
    random = np.random.default_rng(19)
    units = np.arange(1, map_units + 1)
    components = np.arange(1, 3 * map_units + 1)
    horizons = np.arange(1, 12 * map_units + 1)
    clay = random.uniform(8, 38, len(horizons)).round(1)
    sand = (random.uniform(0.1, 0.9, len(horizons)) * (100 - clay)).round(1)
    tops = np.tile([0, 20, 45, 80], len(components))
    return {
        "mapunit": pd.DataFrame(
            {"mukey": units, "mukind": "Consociation", "muname": "Alpha loam", "musym": units}
        ),
        "component": pd.DataFrame(
            {
                "cokey": components,
                "compname": "Alpha",
                "comppct_r": np.tile([60, 30, 10], map_units),
                "compkind": "Series",
                "drainagecl": np.tile(["Well drained", "Poorly drained"], len(components))[
                    : len(components)
                ],
                "hydgrp": "B",
                "taxorder": "Mollisols",
                "mukey": np.repeat(units, 3),
            }
        ),
        "chorizon": pd.DataFrame(
            {
                "hzdept_r": tops,
                "hzdepb_r": tops + 25,
                "hzname": "Ap",
                "claytotal_r": clay,
                "silttotal_r": (100 - clay - sand).round(1),
                "sandtotal_r": sand,
                "om_r": 3.0,
                "dbthirdbar_r": 1.3,
                "lep_r": 2.0,
                "pi_r": 15.0,
                "wthirdbar_r": 28.0,
                "ll_r": 35.0,
                "chkey": horizons,
                "cokey": np.repeat(components, 4),
            }
        ),
        "legend": pd.DataFrame({"areasymbol": ["ZZ001"], "areaname": ["Nowhere"], "lkey": ["9"]}),
    }


def write_download(folder: Path, polygons: int) -> Path:
    """Write a survey area as it is downloaded: `spatial` and `tabular`."""
    tabular, spatial = folder / "tabular", folder / "spatial"
    tabular.mkdir(parents=True)
    spatial.mkdir()
    for table, frame in survey_tables(map_units_of(polygons)).items():
        whole = frame.reindex(columns=COLUMNS[table])
        whole.to_csv(tabular / f"{STEMS.get(table, table)}.txt", sep="|", header=False, index=False)
    lines = [f'"{table}"|"{table}"|"{table}"|"x"|"{STEMS.get(table, table)}"' for table in COLUMNS]
    (tabular / "mstab.txt").write_text("\n".join(lines))
    lines = [
        f'"{table}"|{number}|"{name}"' + 11 * "|"
        for table, names in COLUMNS.items()
        for number, name in enumerate(names, start=1)
    ]
    (tabular / "mstabcol.txt").write_text("\n".join(lines))
    (tabular / "chfrags.txt").write_text("")
    pyogrio.write_dataframe(survey_map(polygons), spatial / "soilmu_a_zz001.shp")
    return folder


def write_database(path: Path, polygons: int) -> Path:
    """Write the same survey as one GeoPackage."""
    pyogrio.write_dataframe(survey_map(polygons), path, layer="MUPOLYGON", driver="GPKG")
    for table, frame in survey_tables(map_units_of(polygons)).items():
        whole = frame.astype({name: str for name in frame if name.endswith("key")})
        pyogrio.write_dataframe(whole, path, layer=table, driver="GPKG")
    return path
