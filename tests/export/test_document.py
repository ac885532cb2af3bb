import copy
import json
import math
from dataclasses import replace

import pytest
from jsonschema import Draft202012Validator
from jsonschema_rs import ValidationError

from tests.export.plans import FIELD_HA, SETTINGS, small_plan
from tests.marking import drawn_zone
from zoneplan.export.document import plan_bytes, plan_document, validate
from zoneplan.field.shapes import HEADLAND, Marks


@pytest.fixture
def written():
    return json.loads(plan_bytes(small_plan()))


# The names that the first description of plan.json asks for, word for word.
MOISTURE_NAMES = {
    "margin_n",
    "margin_least_n",
    "margin_most_n",
    "closing_load_n",
    "closing_notch",
    "downforce_full_n",
    "downforce_refill_n",
    "setting",
    "reached",
    "confidence",
    "reasons",
    "warnings",
}
SOIL_NAMES = {"texture", "sand_frac", "silt_frac", "clay_frac", "organic_pct", "rated_share"}


def test_document_has_the_agreed_names(written):
    assert written["schema"] == "zoneplan-plan/2"
    assert set(written["field"]) == {"name", "area_ha", "crs"}
    assert set(written["rules"]) == {"revised", "sha256"}
    assert {"machine", "uncovered_ha", "zones", "notes"} <= set(written)
    for zone in written["zones"]:
        assert {"id", "area_ha", "soil", "moistures"} <= set(zone)
        assert set(zone["soil"]) >= SOIL_NAMES
        assert list(zone["moistures"]) == ["dry", "moist", "wet"]
        for moisture in zone["moistures"].values():
            assert set(moisture) >= MOISTURE_NAMES
            for reason in moisture["reasons"]:
                assert {"rule", "adds_n", "why", "source", "confidence"} <= set(reason)
            for reason in moisture["closing_reasons"]:
                assert {"rule", "adds_n", "why", "source", "confidence"} <= set(reason)


def test_written_values_are_those_of_the_plan(written):
    # WORKED: as written down in plans.py.
    assert written["field"]["name"] == "Crêt-du-Noyer, côté nord"
    assert written["rules"]["revised"] == "2026-11-20"
    assert written["machine"]["system"]["positions_n"] == [0.0, 556.0, 1112.0, 1668.0]
    assert written["machine"]["setting_unit"] == "N"
    assert written["best"] == {"dry": 556.0, "moist": 556.0, "wet": None}
    assert written["zones"][0]["soils"][1] == {"named": "L2 loam", "share": 0.25}
    moist = written["zones"][1]["moistures"]["moist"]
    assert moist["margin_n"] == 494.0
    assert moist["closing_reasons"][1]["adds_n"] == 44.0


def test_what_was_marked_is_told():
    site = Marks(headland=True, part=drawn_zone("Low end"), slope_frac=0.03)
    zone = replace(
        SETTINGS[0].zone, site=site, marked=((HEADLAND, 0.75), (drawn_zone("Low end"), 0.25))
    )
    plan = replace(small_plan(), settings=(replace(SETTINGS[0], zone=zone), *SETTINGS[1:]))
    first, second, _ = json.loads(plan_bytes(plan))["zones"]
    assert first["site"] == {
        "headland": True,
        "track": False,
        "part": "Low end",
        "part_kind": "drawn",
        "slope_frac": 0.03,
        "gathers_water": False,
        "steep": False,
    }
    assert first["marked"][0] == {
        "mark": "headland",
        "kind": "headland",
        "share": 0.75,
    }
    assert second["marked"] == []
    assert second["site"]["part"] is None


def test_areas_add_up_to_the_field(written):
    total_ha = sum(zone["area_ha"] for zone in written["zones"])
    assert total_ha == pytest.approx(FIELD_HA, rel=1e-6)


def test_reasons_add_up_to_the_margin(written):
    for zone in written["zones"]:
        for moisture in zone["moistures"].values():
            if moisture["margin_n"] is not None:
                total_n = sum(reason["adds_n"] for reason in moisture["reasons"])
                assert total_n == pytest.approx(moisture["margin_n"], abs=1e-6)


def test_a_stop_has_its_reason_and_no_number(written):
    wet = written["zones"][1]["moistures"]["wet"]
    assert wet["wait"] is True
    assert wet["margin_n"] is None
    assert wet["reasons"][0]["kind"] == "stop"
    assert wet["reasons"][0]["adds_n"] is None


def test_ground_without_soil_has_three_empty_moistures(written):
    for moisture in written["zones"][2]["moistures"].values():
        assert moisture["reasons"] == []
        assert moisture["margin_n"] is None
        assert moisture["warnings"] == ["No numbers here: no data."]


def test_bytes_are_plain_utf8_and_repeat():
    first = plan_bytes(small_plan())
    assert first == plan_bytes(small_plan())
    assert first.endswith(b"}\n")
    assert "Crêt-du-Noyer".encode() in first


def test_noise_of_binary_arithmetic_is_not_written():
    zone = replace(SETTINGS[0].zone, area_ha=0.1 + 0.2)
    plan = replace(small_plan(), settings=(replace(SETTINGS[0], zone=zone),))
    assert b'"area_ha": 0.3,' in plan_bytes(plan)


@pytest.mark.parametrize("number", [math.nan, math.inf])
def test_what_is_no_number_is_never_written(number):
    dry = replace(SETTINGS[0].moistures["dry"], margin_n=number)
    setting = replace(SETTINGS[0], moistures={**SETTINGS[0].moistures, "dry": dry})
    with pytest.raises(ValueError, match="not JSON compliant"):
        plan_bytes(replace(small_plan(), settings=(setting,)))


def test_schema_is_a_schema():
    from zoneplan.export import document

    Draft202012Validator.check_schema(document._schema())


# Each is one way to break a good document: where, what is put there, and a word of the message.
BREAKS = {
    "another layout": (("schema",), "zoneplan-plan/9", "zoneplan-plan/2"),
    "a field without area": (("field", "area_ha"), 0, "minimum"),
    "a unit we do not use": (("machine", "setting_unit"), "psi", "psi"),
    "a date that is none": (("rules", "revised"), "2026-02-30", "2026-02-30"),
    "no zones": (("zones",), [], "less than 1 item"),
    "a name nobody knows": (("zones", 0, "colour"), "red", "colour"),
    "an unknown kind of ground": (("zones", 0, "soil", "ground"), "moon", "moon"),
    "more sand than soil": (("zones", 0, "soil", "sand_frac"), 40, "maximum"),
    "a slope that is none": (("zones", 0, "site", "slope_frac"), -0.1, "minimum"),
    "a mark without a place": (("zones", 0, "site", "ditch"), True, "ditch"),
    "a number as text": (("zones", 0, "moistures", "dry", "margin_n"), "644", "644"),
    "a stray name in a moisture": (("zones", 0, "moistures", "dry", "margin_lb"), 145, "margin_lb"),
    "a fourth moisture": (("zones", 0, "moistures", "damp"), {}, "damp"),
    "no share": (("zones", 0, "moistures", "dry", "contact_share"), 97, "maximum"),
    "a number where to wait": (("zones", 1, "moistures", "wet", "margin_n"), 300.0, "null"),
    "a number without soil": (("zones", 2, "moistures", "dry", "margin_n"), 300.0, "null"),
    "doubt nobody knows": (("zones", 0, "moistures", "dry", "confidence"), "sure", "sure"),
}


@pytest.mark.parametrize("broken", BREAKS)
def test_a_broken_document_is_refused(broken):
    path, value, result = BREAKS[broken]
    document = copy.deepcopy(plan_document(small_plan()))
    validate(document)
    place = document
    for step in path[:-1]:
        place = place[step]
    place[path[-1]] = value
    with pytest.raises(ValidationError, match=result):
        validate(document)


def test_a_document_that_lacks_a_name_is_refused():
    document = plan_document(small_plan())
    del document["zones"][0]["moistures"]["dry"]["margin_n"]
    with pytest.raises(ValidationError, match="margin_n"):
        validate(document)


def test_a_plan_that_breaks_its_schema_is_not_written():
    plan = replace(small_plan(), setting_unit="psi")
    with pytest.raises(ValidationError, match="psi"):
        plan_bytes(plan)
