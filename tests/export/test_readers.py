import re

import pytest
from pyproj import Geod

from tests.export.plans import AREAS_HA, FIELD_HA, small_plan
from tests.export.taskset_check import check_taskset
from zoneplan.demo import demo_fields, plan_demo
from zoneplan.errors import OutputError
from zoneplan.export.readers import read_taskset
from zoneplan.export.taskset import taskset_files
from zoneplan.export.taskset_words import command_n, zone_designator

WGS84 = Geod(ellps="WGS84")
XML, BIN = "TASKDATA.XML", "GRD00001.BIN"
DRAWN = taskset_files(small_plan(), "dry")
OLD = taskset_files(small_plan(), "dry", version=3)
GRIDDED = taskset_files(small_plan(), "dry", grid=True)


def edited(files, pattern, put, count=1):
    """Files whose XML has so many places of a pattern changed."""
    text, changed = re.subn(pattern, put, files[XML].decode("utf-8"), count=count, flags=re.DOTALL)
    assert changed == count
    return {**files, XML: text.encode("utf-8")}


@pytest.mark.parametrize("demo", demo_fields(), ids=lambda demo: demo.name)
def test_every_kind_of_task_set_is_read_back_zone_by_zone(demo):
    plan = plan_demo(demo)
    for version, grid, value in [
        (3, False, "downforce"),
        (3, True, "downforce"),
        (4, False, "downforce"),
        (4, True, "downforce"),
        *([(4, False, "margin")] if plan.setting_kind == "margin target" else []),
    ]:
        files = taskset_files(plan, "wet", version=version, grid=grid, value=value)
        assert check_taskset(files) == []
        read = read_taskset(files)
        assert read.field_name == plan.field.name
        assert read.field_ha == pytest.approx(plan.field.area_ha, rel=1e-6)
        assert list(read.zones) == [0, *(setting.zone.id for setting in plan.settings)]
        assert (read.zones[0].command_n, read.zones[0].shape is None) == (None, grid)
        for setting in plan.settings:
            zone = read.zones[setting.zone.id]
            assert zone.command_n == command_n(setting, "wet", value)
            assert zone.designator == zone_designator(setting, "wet", value)
            slack = 0.04 if grid else 1e-6
            assert zone.area_ha == pytest.approx(setting.zone.area_ha, rel=slack)


@pytest.mark.parametrize("files", [DRAWN, OLD])
def test_areas_are_true(files):
    read = read_taskset(files)
    assert read.field_ha == pytest.approx(FIELD_HA, rel=1e-6)
    assert read.zones[0].area_ha == 0
    for code, area_ha in AREAS_HA.items():
        zone = read.zones[code]
        assert zone.area_ha == pytest.approx(area_ha, rel=1e-6)
        assert abs(WGS84.geometry_area_perimeter(zone.shape.normalize())[0]) == pytest.approx(
            area_ha * 1e4, rel=1e-6
        )


MISFITS = [
    ('VersionMajor="4"', 'VersionMajor="5"', "VersionMajor is '5', not a whole number from 3 to 4"),
    ('VersionMinor="3"', 'VersionMinor="4"', "VersionMinor is '4'"),
    (' DataTransferOrigin="1"', "", "has no DataTransferOrigin"),
    ('="zoneplan"', f'="{"x" * 33}"', "a text of 32 characters at most"),
    ("<CTR ", '<CTR P5_x="1" ', "CTR 1 has an attribute P5_x, which we do not know"),
    ('A="CTR1"', 'A="PFD7"', "CTR 1: A is 'PFD7', not an id such as CTR1"),
    ('A="CTR1"', 'A="CTR-12345678901"', "not an id such as CTR1"),
    ('C="Crêt[^"]*"', f'C="{"ê" * 33}"', "PFD 1: C is"),
    ('D="60000"', 'D="60000.0"', "PFD 1: D is '60000.0', not a whole number"),
    ('D="60000"', 'D="-1"', "PFD 1: D is '-1'"),
    ('C="0.224808943"', 'C="0"', "VPN 1: C is '0'"),
    ('G="1"', 'G="7"', "TSK 1: G is '7'"),
    (' G="1"', "", "TSK 1 has no G"),
    ('I="0"', 'I="255"', "TSK 1: I is '255', not a whole number from 0 to 254"),
    ('TZN A="1"', 'TZN A="255"', "TSK 1, TZN 2: A is '255'"),
    ('B="1 down', f'B="{"1" * 32} down', "TSK 1, TZN 2: B is"),
    ('A="01AA"', 'A="426"', "PDV 1: A is '426', not 01AA"),
    ('A="01AA"', 'A="016D"', "PDV 1: A is '016D', not 01AA"),
    ('B="556"', 'B="556.0"', "PDV 1: B is '556.0', not a whole number"),
    ('B="556"', 'B="2147483648"', "PDV 1: B is '2147483648'"),
    ('PLN A="2"', 'PLN A="13"', "TZN 2, PLN 1: A is '13'"),
    ('PNT A="2"', 'PNT A="12"', "PNT 1: A is '12'"),
    (r'C="42\.', 'C="92.', "C is '92"),
    (r'D="-93\.6', 'D="-9.36e1', "with nine decimals at most"),
    (r'(C="42\.[0-9]+)', r"\g<1>1", "with nine decimals at most"),
    ("<VPN ", "<DVC /><VPN ", "holds DVC, which does not belong there"),
    ("<PDV ", '<LSG A="1" /><PDV ', "TZN 2 holds LSG, which does not belong there"),
    (r"<TSK .*</TSK>", "", "holds 0 TSK, not one"),
    ("(<PFD .*</PFD>)", r"\1\1", "holds 2 PFD, not one"),
]


@pytest.mark.parametrize(("pattern", "put", "words"), MISFITS)
def test_an_ill_formed_element_is_told(pattern, put, words):
    faults = check_taskset(edited(DRAWN, pattern, put))
    assert len(faults) == 1
    assert words in faults[0]


LOOSE = [
    ('FRM A="FRM1" B="Farm" I="CTR1"', 'FRM A="FRM1" B="Farm" I="CTR2"', "FRM: I names CTR2"),
    ('E="PFD1"', 'E="PFD2"', "TSK: E names PFD2, which is not there"),
    ('E="VPN1"', 'E="VPN2"', "PDV: E names VPN2"),
    ("(<VPN [^>]*>)", r"\1\1", "the id VPN1 is there 2 times"),
    ('TZN A="2"', 'TZN A="1"', "zone 1 is there 2 times"),
    ('J="0"', 'J="9"', "zone 9, which stands for ground outside, is not there"),
    ("(<PDV [^>]*>)", r"\1\1", "zone 1 has 2 values, not one"),
    ('PLN A="1"', 'PLN A="2"', "PFD PFD1, PLN 1 is of type 2, not 1"),
    ('PLN A="2"', 'PLN A="1"', "TZN 1, PLN 1 is of type 1, not 2"),
    ('LSG A="2"', 'LSG A="1"', "TZN 1, PLN 1 is not one exterior line"),
    ('LSG A="1"', 'LSG A="2"', "PFD PFD1, PLN 1 is not one exterior line"),
    ('LSG A="2"', 'LSG A="5"', "TZN 1, PLN 1 is not one exterior line"),
    (r"<PLN .*?</PLN>", "", "PFD PFD1 has no boundary"),
    (r"<PNT [^>]*>\s*</LSG>", "</LSG>", "PFD PFD1, PLN 1 has an open ring"),
    (r'(LSG A="2">\s*<PNT [^>]*>\s*<PNT [^>]*>).*?</LSG>', r"\1</LSG>", "fewer than three"),
    (
        r'(LSG A="1">\s*<PNT [^>]*>\s*)(<PNT [^>]*>\s*)(<PNT [^>]*>\s*)',
        r"\1\3\2",
        "PLN 1 crosses itself",
    ),
    (r'(<TZN A="2" [^>]*>\s*)<PLN .*?</PLN>', r"\1", "zone 2 covers no ground"),
]


@pytest.mark.parametrize(("pattern", "put", "words"), LOOSE)
def test_what_does_not_hold_together_is_told(pattern, put, words):
    faults = check_taskset(edited(DRAWN, pattern, put))
    assert any(words in fault for fault in faults)


@pytest.mark.parametrize(
    ("pattern", "put"),
    [('G="1"', 'G="5"'), ('PLN A="2"', 'PLN A="10"'), ('PNT A="2"', 'PNT A="3"')],
)
def test_what_only_version_4_knows_is_told_in_version_3(pattern, put):
    # PUBLISHED: the schemas; states of a task 1 to 4 and 1 to 6, polygons to 8 and 12, points
    # to 2 and 11.
    (fault,) = check_taskset(edited(OLD, pattern, put))
    assert "not a whole number from 1 to " in fault
    assert not any(": A is" in fault for fault in check_taskset(edited(DRAWN, pattern, put)))


def test_a_ring_may_stay_open_in_version_3_only():
    assert check_taskset(OLD) == []
    opened = edited(OLD, 'VersionMajor="3"', 'VersionMajor="4"')
    assert len([fault for fault in check_taskset(opened) if "open ring" in fault]) == 4


GRID_FAULTS = [
    ({BIN: None}, "GRD00001.BIN is missing"),
    ({BIN: b"\x01\x02\x03"}, "GRD00001.BIN has 3 bytes, not one for each of "),
    ({BIN: b"\x01\x02\x03"}, "GRD00001.BIN has 3 bytes, not 6"),
    ({BIN: GRIDDED[BIN].replace(b"\x01", b"\x07")}, "the grid names zone 7, which is not there"),
    ({BIN: GRIDDED[BIN].replace(b"\x03", b"\x00")}, "zone 3 covers no ground"),
    ({"GRD00002.BIN": b""}, "GRD00002.BIN is a file that belongs to nothing"),
    ({XML: edited(GRIDDED, "(<GRD [^>]*>)", r"\1\1")[XML]}, "told more than once"),
    ({XML: edited(DRAWN, "</TSK>", '<GRD A="42" B="-93" C="1" D="1" E="1" F="1" '
        'G="GRD00001" H="1" I="1" /></TSK>')[XML], BIN: b"\x01"}, "told more than once"),
    ({XML: edited(GRIDDED, ' I="1"', ' I="2"')[XML]}, "GRD 1: I is '2'"),
    ({XML: edited(GRIDDED, 'G="GRD00001"', 'G="GRD00001.BIN"')[XML]}, "a file such as GRD00001"),
    ({XML: edited(GRIDDED, ' I="1"', ' I="1" J="1"')[XML]}, "an attribute J"),
    ({XML: edited(GRIDDED, r' C="0\.0', ' C="1.0')[XML]}, "GRD 1: C is '1."),
]  # fmt: skip


@pytest.mark.parametrize(("changed", "words"), GRID_FAULTS)
def test_a_grid_that_does_not_fit_is_told(changed, words):
    files = {name: bytes_ for name, bytes_ in {**GRIDDED, **changed}.items() if bytes_ is not None}
    assert any(words in fault for fault in check_taskset(files))


@pytest.mark.parametrize(
    ("files", "words"),
    [
        ({}, "TASKDATA.XML is missing"),
        ({XML: b"\xff\xfe<"}, "TASKDATA.XML cannot be read: 'utf-8'"),
        ({XML: DRAWN[XML][:-9]}, "TASKDATA.XML cannot be read: "),
        ({XML: b"<gpx />"}, "begins with gpx, not with ISO11783_TaskData"),
        (edited(DRAWN, "<ISO", "<!DOCTYPE x []><ISO"), "it declares a document type"),
    ],
)
def test_what_is_no_task_set_is_told(files, words):
    (fault,) = check_taskset(files)
    assert words in fault


# Of what is not a plan's task set, reading at run time refuses this much by itself.
REFUSED = [
    ({}, "TASKDATA.XML is missing"),
    (edited(DRAWN, "<ISO", "<!DOCTYPE x []><ISO"), "it declares a document type"),
    (edited(DRAWN, 'TZN A="2"', 'TZN A="1"'), "zone 1 is there more than once"),
    (edited(DRAWN, "(<PDV [^>]*>)", r"\1\1"), "zone 1 has more than one value"),
    (edited(DRAWN, "(<TSK .*</TSK>)", r"\1\1"), "2 tasks are not one for each of 1 field"),
    ({XML: GRIDDED[XML]}, "GRD00001.BIN is missing"),
    ({**GRIDDED, BIN: b"123"}, "cannot reshape"),
]


@pytest.mark.parametrize(("files", "words"), REFUSED)
def test_what_cannot_be_compared_with_a_plan_is_not_read(files, words):
    with pytest.raises((OutputError, ValueError), match=words):
        read_taskset(files)
