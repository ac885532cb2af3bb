"""Soils over the square field, and how to look at the plan of it."""

from dataclasses import replace

import geopandas as gpd
import shapely

from zoneplan.field.shapes import SoilLayer
from zoneplan.plan.requirement import Conditions
from zoneplan.rules.read import read_rules
from zoneplan.soil.texture import SoilFacts
from zoneplan.terms import Tillage
from zoneplan.units import M_PER_IN, MPS_PER_MPH, N_PER_LBF

RULES = read_rules()
TILLED = Conditions(Tillage.TILLED, 5 * MPS_PER_MPH, 2 * M_PER_IN, residue_frac=0.0)
CLAY_LOAM = SoilFacts(
    texture="clay loam",
    sand_frac=0.30,
    silt_frac=0.35,
    clay_frac=0.35,
    organic_pct=2.5,
    density_mg_m3=1.39,
    rated_share=1.0,
)

SAND = SoilFacts(texture="sand", sand_frac=0.9, silt_frac=0.05, clay_frac=0.05, rated_share=1.0)
LOAM = replace(CLAY_LOAM, texture="loam", sand_frac=0.4, silt_frac=0.4, clay_frac=0.2)
LB = N_PER_LBF


def layer(*halves):
    """Soils side by side over the square field, from west to east."""
    edges = [-93.005 + 0.006 * n / len(halves) for n in range(len(halves) + 1)]
    ground = gpd.GeoDataFrame(
        {"facts": list(halves)},
        geometry=[shapely.box(edges[n], 41.99, edges[n + 1], 42.01) for n in range(len(halves))],
        crs="EPSG:4326",
    )
    return SoilLayer("soils", "polygons", ground)


def the_zone(plan):
    (setting,) = plan.settings
    return setting


def code(notices, name):
    """The one notice of a code."""
    (result,) = [notice for notice in notices if notice.code == name]
    return result
