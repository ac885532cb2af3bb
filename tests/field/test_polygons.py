"""Any polygon layer of soils: which columns, which units, what is refused."""

import pytest
from shapely.geometry import box

from tests.field.ground import write_geojson
from tests.telling import sentences
from zoneplan.cli.tell import advised
from zoneplan.errors import LayerError
from zoneplan.field.layer import ReadOptions, read_layer


@pytest.fixture
def read(tmp_path):
    """Write one square a row, and read it as a layer."""

    def read_rows(*rows, **columns):
        shapes = [box(100 * i, 0, 100 * i + 100, 100) for i in range(len(rows))]
        return read_layer(
            write_geojson(tmp_path / "soil.geojson", shapes, rows),
            options=ReadOptions(columns=columns),
        )

    return read_rows


def facts_of(layer):
    return list(layer.ground["facts"])


def test_percent_by_known_names(read):
    layer = read({"SAND": 40, "SILT": 40, "CLAY": 20, "OM": 2.5, "name": "Knob"})
    (facts,) = facts_of(layer)
    assert (layer.name, layer.kind) == ("soil", "polygons")
    assert (facts.sand_frac, facts.silt_frac, facts.clay_frac) == (0.4, 0.4, 0.2)
    assert (facts.texture, facts.organic_pct) == ("loam", 2.5)
    assert (facts.named, facts.rated_share) == ("Knob", 1.0)
    assert sentences(layer.notes) == ("Sand, silt and clay are read as percent.",)


def test_fractions_are_told_from_percent_by_their_sum(read):
    # One of these clays would be a fair percentage by itself; the three together are not.
    layer = read({"sand": 0.1, "silt": 0.4, "clay": 0.5}, {"sand": 0, "silt": 0, "clay": 1})
    assert [facts.clay_frac for facts in facts_of(layer)] == [0.5, 1.0]
    assert sentences(layer.notes) == ("Sand, silt and clay are read as fractions of 1.",)


def test_grams_a_kilogram_are_told_and_words_for_nothing_are_nothing(read):
    layer = read({"sand": "400", "silt": "400", "clay": "200"}, {"sand": "NA", "texture": "clay"})
    first, second = facts_of(layer)
    assert (first.clay_frac, second.clay_frac, second.texture) == (0.2, None, "clay")
    assert sentences(layer.notes) == ("Sand, silt and clay are read as g/kg.",)


def test_a_texture_class_alone(read):
    layer = read({"texcl": "SIL"}, {"texcl": "Fine sandy loam"}, {"texcl": None})
    assert [facts.texture for facts in facts_of(layer)] == ["silt loam", "sandy loam", None]
    assert [facts.ground for facts in facts_of(layer)] == ["soil", "soil", "no data"]
    assert facts_of(layer)[0].clay_frac is None
    assert sentences(layer.notes) == ("1 of 3 polygons say no texture.",)


@pytest.mark.parametrize(
    ("row", "ground"),
    [
        ({"om": 20, "texture": "loamy sand"}, "organic"),
        ({"om": 19.9, "texture": "loamy sand"}, "soil"),
        ({"om": 45, "texture": None}, "organic"),
        ({"om": None, "texture": "Sapric muck"}, "organic"),
        ({"om": None, "texture": "MPT"}, "organic"),
        ({"om": None, "texture": "mucky loamy sand"}, "soil"),
        ({"om": None, "texture": "Water"}, "water"),
    ],
)
def test_peat_is_organic_ground_by_its_word_or_its_humus(read, row, ground):
    (facts,) = facts_of(read(row))
    assert facts.ground == ground
    assert facts.rated_share == (1.0 if ground == "soil" else 0.0)


def test_columns_named_by_the_user(read):
    (facts,) = facts_of(
        read(
            {"zand": 40, "leem": 40, "lutum": 20, "os": 3},
            sand="ZAND",
            silt="leem",
            clay="lutum",
            organic="os",
        )
    )
    assert (facts.texture, facts.organic_pct) == ("loam", 3.0)


def test_numbers_before_words_and_nothing_filled_in(read):
    # A row with a missing third falls back on its class; a missing clay is never 0.
    known = {"sand": 40, "silt": 40, "clay": 20, "texture": "clay"}
    layer = read(known, known | {"clay": None}, {"sand": 60, "silt": 40, "clay": None})
    first, second, third = facts_of(layer)
    assert (first.texture, second.texture, third.texture) == ("loam", "clay", None)
    assert (second.sand_frac, third.ground, third.rated_share) == (None, "no data", 0.0)


def test_a_small_misfit_is_scaled_and_said(read):
    layer = read({"sand": 41, "silt": 41, "clay": 20}, {"sand": 40, "silt": 40, "clay": 20})
    facts = facts_of(layer)[0]
    assert facts.sand_frac + facts.silt_frac + facts.clay_frac == pytest.approx(1)
    assert facts.clay_frac == pytest.approx(20 / 102)
    assert sentences(layer.notes)[1] == (
        "Sand, silt and clay of 1 of 2 polygons miss 100 % by up to 2; scaled to 100."
    )


GOOD = {"sand": 40, "silt": 40, "clay": 20}


@pytest.mark.parametrize(
    ("rows", "columns", "words"),
    [
        ([{"a": 1, "b": 2}], {}, ["no column of texture classes", "a, b", "--sand-column"]),
        ([{"sand": 50, "clay": 20}], {}, ["not all of sand, silt and clay", "sand, clay"]),
        ([GOOD | {"sand_pct": 40}], {}, ["2 columns that could be sand", "--sand-column sand"]),
        ([GOOD], {"clay": "lutum"}, ['no column "lutum" for clay', "sand, silt, clay"]),
        (
            [GOOD, GOOD | {"clay": 60}, GOOD | {"sand": 10}],
            {},
            ["2 faults", "feature 2: sand 40, silt 40 and clay 60 add up to 140", "feature 3"],
        ),
        ([GOOD | {"silt": -9999}], {}, ["feature 1: silt is -9999", "code for no data"]),
        ([GOOD | {"clay": "much"}], {}, ['clay is "much"', "Leave empty"]),
        ([GOOD | {"om": 250}], {}, ["feature 1: om is 250", "cannot be"]),
        (
            [{"texture": "clay"}, {"texture": "gumbo"}, {"texture": "marl"}],
            {},
            ["textures we do not know, 2: gumbo, marl", "silty clay loam"],
        ),
    ],
)
def test_what_cannot_be_trusted_is_refused(read, rows, columns, words):
    with pytest.raises(LayerError) as fault:
        read(*rows, **columns)
    assert "soil.geojson" in str(fault.value)
    for word in words:
        assert word in advised(fault.value)


def test_water_and_muck_are_named_as_such(read):
    kinds = [facts.ground for facts in facts_of(read({"texture": "Muck"}, {"texture": "water"}))]
    assert kinds == ["organic", "water"]
