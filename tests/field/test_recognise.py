"""What a file is, and where it lies, by what it holds."""

import zipfile

import pytest

from tests.field.ground import SQUARE, in_degrees, write_geojson
from zoneplan.field.recognise import FileKind, recognise


def test_a_layer_without_shapes_hides_not_where_the_others_lie(tmp_path):
    with zipfile.ZipFile(tmp_path / "both.zip", "w") as packed:
        packed.write(write_geojson(tmp_path / "empty.geojson", [None]), "empty.geojson")
        packed.write(write_geojson(tmp_path / "field.geojson", [SQUARE]), "field.geojson")
    result = recognise(tmp_path / "both.zip")
    assert (result.kind, result.count) == (FileKind.OUTLINES, 2)
    assert result.bounds == pytest.approx(in_degrees(SQUARE).bounds, abs=1e-9)
