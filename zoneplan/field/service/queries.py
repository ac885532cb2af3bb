"""The questions to the soil service: text made of numbers and checked keys, of nothing else.

The service takes no bound parameters. So a key goes in only where it is one, an outline only as
coordinates, and nothing that a file or a person wrote comes near a query.

Source
------
Tables and functions of the service as its public documentation and public clients have them;
none of these was sent to the live service when it was written.
"""

import re
from collections.abc import Iterable, Sequence

from shapely.geometry import MultiPolygon

from zoneplan.field.service.cover import DECIMALS

_MUKEY = re.compile(r"[0-9]{1,12}")
_AREA = re.compile(r"[A-Z]{2}[0-9]{3}")
MAP_COLUMNS = ("areasymbol", "mukey", "musym", "muname", "mupolygonkey", "geom")
TABLE_COLUMNS = (
    *("areasymbol", "mukey", "musym", "muname", "cokey", "compname", "comppct_r", "compkind"),
    *("majcompflag", "drainagecl", "hydgrp", "taxorder", "slope_r", "chkey", "hzname", "hzdept_r"),
    *("hzdepb_r", "sandtotal_r", "silttotal_r", "claytotal_r", "om_r", "dbthirdbar_r"),
    *("dbovendry_r", "ll_r", "pi_r", "wtenthbar_r", "wthirdbar_r", "wfifteenbar_r", "lep_r"),
    *("fraggt10_r", "frag3to10_r", "chfragskey", "fragvol_r"),
)
SIZE_COLUMNS = ("polygons", "points")
AREAS_COLUMNS = ("areasymbol", "polygons")
_OWNERS = {
    **{"areasymbol": "l", "mukey": "mu", "musym": "mu", "muname": "mu"},
    **{"chkey": "h", "chfragskey": "f", "fragvol_r": "f"},
}
_OF_COMPONENT = (*TABLE_COLUMNS[4:13],)


def is_mukey(text: object) -> bool:
    """Whether a text is the key of a map unit."""
    return isinstance(text, str) and _MUKEY.fullmatch(text) is not None


def is_area(text: object) -> bool:
    """Whether a text is the symbol of a survey area.

    >>> is_area("IA073"), is_area("IA073'; --")
    (True, False)
    """
    return isinstance(text, str) and _AREA.fullmatch(text) is not None


def size_query(outline: MultiPolygon) -> str:
    """Ask how many polygons reach into an outline, and how many corners they have."""
    return (
        "SELECT COUNT(*) AS polygons, SUM(p.mupolygongeo.STNumPoints()) AS points\n"
        "FROM mupolygon AS p\n"
        f"WHERE {_meets(outline)}"
    )


def areas_query(outline: MultiPolygon) -> str:
    """Ask which survey areas reach into an outline."""
    return (
        "SELECT p.areasymbol, COUNT(*) AS polygons\n"
        "FROM mupolygon AS p\n"
        f"WHERE {_meets(outline)}\n"
        "GROUP BY p.areasymbol\n"
        "ORDER BY p.areasymbol"
    )


def map_query(outline: MultiPolygon) -> str:
    """Ask for the map units within an outline, cut to it, each polygon a row."""
    return (
        "SELECT p.areasymbol, p.mukey, mu.musym, mu.muname, p.mupolygonkey,\n"
        f"  p.mupolygongeo.STIntersection({_geometry(outline)}).STAsText() AS geom\n"
        "FROM mupolygon AS p\n"
        "INNER JOIN mapunit AS mu ON mu.mukey = p.mukey\n"
        f"WHERE {_meets(outline)}\n"
        "ORDER BY p.mupolygonkey"
    )


def tables_query(mukeys: Sequence[str]) -> str:
    """Ask for map units with their components, horizons and kinds of fragments, joined."""
    columns = ", ".join(f"{_owner(name)}.{name}" for name in TABLE_COLUMNS)
    return (
        f"SELECT {columns}\n"
        "FROM legend AS l\n"
        "INNER JOIN mapunit AS mu ON mu.lkey = l.lkey\n"
        "LEFT JOIN component AS c ON c.mukey = mu.mukey\n"
        "LEFT JOIN chorizon AS h ON h.cokey = c.cokey\n"
        "LEFT JOIN chfrags AS f ON f.chkey = h.chkey\n"
        f"WHERE mu.mukey IN ({_keys(mukeys, is_mukey)})\n"
        "ORDER BY mu.mukey, c.cokey, h.hzdept_r, h.chkey, f.chfragskey"
    )


def vintage_query(areas: Sequence[str]) -> str:
    """Ask for the version of survey areas, and the day each was refreshed."""
    return (
        "SELECT s.areasymbol, s.areaname, s.saversion,\n"
        "  CONVERT(char(10), s.saverest, 23) AS saverest, l.projectscale\n"
        "FROM sacatalog AS s\n"
        "LEFT JOIN legend AS l ON l.areasymbol = s.areasymbol\n"
        f"WHERE s.areasymbol IN ({_keys(areas, is_area)})\n"
        "ORDER BY s.areasymbol"
    )


def wkt(outline: MultiPolygon) -> str:
    """Write an outline as the service reads it: longitude first, in digits alone.

    >>> from shapely.geometry import box
    >>> wkt(MultiPolygon([box(-93.5, 42, -93.4, 42.1)]))
    'POLYGON ((-93.4 42, -93.4 42.1, -93.5 42.1, -93.5 42, -93.4 42))'
    """
    parts = [
        ", ".join(_ring(ring.coords) for ring in (part.exterior, *part.interiors))
        for part in outline.geoms
    ]
    if len(parts) == 1:
        return f"POLYGON ({parts[0]})"
    return f"MULTIPOLYGON ({', '.join(f'({part})' for part in parts)})"


def _ring(corners: Iterable[Sequence[float]]) -> str:
    return f"({', '.join(f'{_digits(x)} {_digits(y)}' for x, y, *_ in corners)})"


def _digits(degrees: float) -> str:
    """A number without an exponent, which some readers of such text do not know."""
    text = f"{degrees:.{DECIMALS}f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _meets(outline: MultiPolygon) -> str:
    return f"p.mupolygongeo.STIntersects({_geometry(outline)}) = 1"


def _geometry(outline: MultiPolygon) -> str:
    """The outline, written out each time: the service refuses DECLARE."""
    return f"geometry::STGeomFromText('{wkt(outline)}', 4326).MakeValid()"


def _owner(name: str) -> str:
    return _OWNERS.get(name, "c" if name in _OF_COMPONENT else "h")


def _keys(keys: Sequence[str], check: object) -> str:
    if not keys or not callable(check) or not all(map(check, keys)):
        raise ValueError("only checked keys go into a query")
    return ", ".join(f"'{key}'" for key in keys)
