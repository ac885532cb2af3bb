"""Pieces of a field as a frame, which a test can look into and stir; and back."""

import geopandas as gpd
import pandas as pd

from zoneplan.field.shapes import Pieces


def frame_of(pieces: Pieces) -> gpd.GeoDataFrame:
    columns = {
        "facts": pieces.facts,
        "layer": pd.Series(pieces.layers, dtype=object),
        "site": pieces.sites,
    }
    return gpd.GeoDataFrame(columns, geometry=pieces.shapes, crs=pieces.crs)


def pieces_of(frame: gpd.GeoDataFrame) -> Pieces:
    facts, layers, sites = (frame[name].tolist() for name in ("facts", "layer", "site"))
    return Pieces(frame.geometry.to_numpy(), facts, layers, sites, str(frame.crs.srs))
