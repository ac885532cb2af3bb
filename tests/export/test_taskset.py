"""What we write is read here by isoxml, a general reader of ISO 11783-10.

Its classes carry the limits of the published schemas, attribute by attribute: `breaches` holds
every element against them.
"""

import json
import re
from dataclasses import fields, is_dataclass, replace
from decimal import Decimal

import pytest
import shapely
from isoxml.converter.shapely_geom import ShapelyConverterV3, ShapelyConverterV4
from isoxml.models.ddi_entities import DDEntity
from isoxml.util.isoxml_io import isoxml_from_path
from pyproj import Geod
from shapely.geometry import MultiPolygon, Polygon, box, shape

from tests.export.plans import AREAS_HA, FIELD, FIELD_HA, SETTINGS, small_plan
from tests.export.taskset_check import check_taskset
from zoneplan.demo import demo_fields, plan_demo
from zoneplan.errors import OutputError
from zoneplan.export.taskset import MOST_ZONES, taskset_files
from zoneplan.export.taskset_words import command_n
from zoneplan.export.zone_files import geojson_bytes
from zoneplan.plan.model import Setting
from zoneplan.rowunit.machine import Hydraulic

WGS84 = Geod(ellps="WGS84")
# WORKED: half of 1e-9 degree is 0.056 mm; an outline of 1000 m shifted by it sweeps 0.056 m².
SHIFT_M = 0.000056
DEMOS = {demo.name: demo for demo in demo_fields()}
SHAPES = {3: ShapelyConverterV3(), 4: ShapelyConverterV4()}
BOTH = pytest.mark.parametrize("version", [3, 4])


@pytest.fixture(scope="module")
def demos():
    return {name: plan_demo(demo) for name, demo in DEMOS.items()}


@pytest.fixture
def read(tmp_path):
    """Write a task set where isoxml wants it, and let it read."""

    def reads(files):
        for name, content in files.items():
            (tmp_path / name).write_bytes(content)
        task_data, binaries = isoxml_from_path(tmp_path)
        assert breaches(task_data, type(task_data).__name__) == []
        return task_data, binaries

    return reads


def breaches(node, where):
    """Hold a value and all under it against the limits that isoxml's classes state."""
    if isinstance(node, list):
        return [fault for n, part in enumerate(node) for fault in breaches(part, f"{where} {n}")]
    if not is_dataclass(node):
        return []
    results = []
    for field in fields(node):
        value, limit, place = getattr(node, field.name), field.metadata, f"{where}.{field.name}"
        results += breaches(value, place)
        if value is None or value == []:
            results += [f"{place} is missing"] * bool(limit.get("required"))
            continue
        if isinstance(value, list):
            continue
        results += [f"{place} is {value!r}"] * (
            len(str(value)) > limit.get("max_length", 999)
            or not re.fullmatch(limit.get("pattern", ".*"), str(value))
            or ("min_inclusive" in limit and value < limit["min_inclusive"])
            or ("max_inclusive" in limit and value > limit["max_inclusive"])
            or (
                "fraction_digits" in limit
                and -Decimal(value).as_tuple().exponent > limit["fraction_digits"]
            )
        )
    return results


def holding_a_margin(plan):
    """The same on a machine whose command is what each target needs midway down the hopper."""

    def commanded(setting):
        if not isinstance(setting, Setting):
            return setting
        return replace(
            setting, command_n=(setting.downforce_full_n + setting.downforce_refill_n) / 2
        )

    settings = tuple(
        replace(
            setting,
            moistures={name: commanded(result) for name, result in setting.moistures.items()},
        )
        for setting in plan.settings
    )
    return replace(
        plan,
        settings=settings,
        setting_kind="margin target",
        machine=replace(plan.machine, system=Hydraulic(-500.0, 2000.0, 0.2, 0.4)),
    )


def with_shape(zone_shape):
    zone = replace(SETTINGS[0].zone, shape=zone_shape)
    return replace(
        small_plan(),
        field=replace(FIELD, shape=zone_shape),
        settings=(replace(SETTINGS[0], zone=zone),),
    )


def with_zones(count):
    """So many squares of 10 m, side by side."""
    squares = [box(10 * n - 1300, 0, 10 * n - 1290, 10) for n in range(count)]
    settings = tuple(
        replace(SETTINGS[0], zone=replace(SETTINGS[0].zone, id=n, shape=square))
        for n, square in enumerate(squares, 1)
    )
    return replace(small_plan(), settings=settings)


def geodesic_ha(polygon):
    area_m2, _ = WGS84.geometry_area_perimeter(polygon.normalize())
    return abs(area_m2) / 1e4


def values(zone):
    return [
        (variable.process_data_ddi, variable.process_data_value)
        for variable in zone.process_data_variables
    ]


def test_the_limits_of_another_reader_are_felt(tmp_path):
    (xml,) = taskset_files(small_plan(), "dry").values()
    edits = {
        b'"1 downforce': b'"123456789 downforce',  # 32 characters
        b'J="0"': b'J="255"',  # codes end at 254
        b'A="VPN1"': b'A="VPN"',
        b' DataTransferOrigin="1"': b"",
    }
    for result, put in edits.items():
        xml = xml.replace(result, put, 1)
    (tmp_path / "TASKDATA.XML").write_bytes(xml)
    task_data, _ = isoxml_from_path(tmp_path)
    assert [fault.split(" is ")[0] for fault in breaches(task_data, "root")] == [
        "root.tasks 0.treatment_zones 1.designator",
        "root.tasks 0.out_of_field_treatment_zone_code",
        "root.value_presentations 0.id",
        "root.data_transfer_origin",
    ]


@BOTH
def test_versions_are_stated_and_the_maker_named(read, version):
    task_data, _ = read(taskset_files(small_plan(), "dry", version=version))
    assert int(task_data.version_major.value) == version
    assert int(task_data.version_minor.value) == 3
    assert task_data.management_software_manufacturer == "zoneplan"
    assert re.fullmatch(r"\d+\.\d+.*", task_data.management_software_version)
    assert task_data.data_transfer_origin.value == "1"


@BOTH
def test_one_planned_task_on_one_field_of_a_nameless_farm(read, version):
    task_data, _ = read(taskset_files(small_plan(), "dry", version=version))
    (customer,), (farm,), (field,) = task_data.customers, task_data.farms, task_data.partfields
    (task,) = task_data.tasks
    assert farm.designator == "Farm"
    assert (customer.last_name if version == 4 else customer.designator) == "Grower"
    assert field.designator == "Crêt-du-Noyer, côté nord"
    assert field.area == 60000  # WORKED: 300 x 200 m
    assert task.designator == "dry downforce: Crêt-du-Noyer, cô"
    assert task.status.value == "1"
    assert (task.customer_id_ref, task.farm_id_ref) == (customer.id, farm.id)
    assert task.partfield_id_ref == field.id
    assert farm.customer_id_ref == field.customer_id_ref == customer.id


def test_the_entry_for_downforce_is_what_the_dictionary_says(read):
    # PUBLISHED: ISO 11783-11, online data dictionary, entry 426, as isoxml carries it.
    task_data, _ = read(taskset_files(small_plan(), "dry"))
    (variable,) = task_data.tasks[0].treatment_zones[1].process_data_variables
    entry = DDEntity.from_bytes(variable.process_data_ddi)
    assert entry == DDEntity(426, "Setpoint Downforce as Force", "N", 1)


@BOTH
@pytest.mark.parametrize("grid", [False, True])
def test_zones_keep_their_number_and_say_what_is_set(read, version, grid):
    task_data, _ = read(taskset_files(small_plan(), "wet", version=version, grid=grid))
    zones = {zone.code: zone for zone in task_data.tasks[0].treatment_zones}
    assert {code: zone.designator for code, zone in zones.items()} == {
        0: "0 no command",
        1: "1 downforce 125lb close light",
        2: "2 wait, no number",
        3: "3 no data, no number",
    }
    # WORKED: the second spring position is 556 N, 125 lb; where there is no number, nothing.
    assert {code: values(zone) for code, zone in zones.items()} == {
        0: [],
        1: [(b"\x01\xaa", 556)],
        2: [],
        3: [],
    }


@BOTH
def test_a_lost_position_and_other_ground_command_nothing(read, version):
    task_data, _ = read(taskset_files(small_plan(), "dry", version=version))
    (task,) = task_data.tasks
    named = {
        task.default_treatment_zone_code,
        task.position_lost_treatment_zone_code,
        task.out_of_field_treatment_zone_code,
    }
    (code,) = named
    (zone,) = [zone for zone in task.treatment_zones if zone.code == code]
    assert zone.process_data_variables == zone.polygons == []


def test_a_terminal_can_show_pounds(read):
    task_data, _ = read(taskset_files(small_plan(), "dry"))
    (shown,) = task_data.value_presentations
    assert shown.unit_designator == "lbf"
    (variable,) = task_data.tasks[0].treatment_zones[1].process_data_variables
    assert variable.value_presentation_id_ref == shown.id
    # WORKED: 1112 N are 1112 / 4.4482216152605 = 249.988 lb, shown without decimals.
    assert (1112 + shown.offset) * float(shown.scale) == pytest.approx(249.988, abs=0.001)
    assert shown.number_of_decimals == 0


def test_a_margin_goes_out_only_when_asked_for_and_is_called_one(read):
    plan = holding_a_margin(small_plan())
    task_data, _ = read(taskset_files(plan, "moist", value="margin"))
    first, second = task_data.tasks[0].treatment_zones[1:3]
    # WORKED: the target is the base plus 44 N: 544 N are 122 lb, 494 N are 111 lb.
    assert values(first) == [(b"\x01\xaa", 544)]
    assert values(second) == [(b"\x01\xaa", 494)]
    assert first.designator == "1 margin 122lb close middle"
    assert task_data.value_presentations[0].unit_designator == "lbf margin"
    assert task_data.tasks[0].designator.startswith("moist margin: ")
    for moisture in ("dry", "moist", "wet"):
        assert b"margin" not in taskset_files(plan, moisture)["TASKDATA.XML"]


def test_a_machine_that_holds_a_margin_gets_its_need_at_mid_hopper(read):
    task_data, _ = read(taskset_files(holding_a_margin(small_plan()), "wet"))
    zone = task_data.tasks[0].treatment_zones[1]
    # WORKED: 394 + 600 + 160 N less 1508 N full is -354, less 1191 N at refill is -37: midway
    # -195.5 N, a lift of 44 lb.
    ((_, command_n),) = values(zone)
    assert command_n == pytest.approx(-195.5, abs=0.5)
    assert zone.designator == "1 lift 44lb close light"
    assert task_data.value_presentations[0].unit_designator == "lbf at mid hopper"


def test_margins_of_a_machine_set_by_something_else_are_refused():
    with pytest.raises(OutputError, match=r"set by spring position\.\n.*Ask for downforce instead"):
        taskset_files(small_plan(), "dry", value="margin")


@BOTH
def test_zones_lie_where_the_geojson_has_them(read, version):
    plan = small_plan()
    task_data, _ = read(taskset_files(plan, "dry", version=version))
    features = json.loads(geojson_bytes(plan))["features"]
    for zone, feature in zip(task_data.tasks[0].treatment_zones[1:], features, strict=True):
        (polygon,) = zone.polygons
        assert polygon.type.value == "2"
        result = SHAPES[version].to_shapely_polygon(polygon)
        drawn = shape(feature["geometry"])  # with seven decimals, a centimetre
        assert result.hausdorff_distance(drawn) < 1e-7
        slack_ha = SHIFT_M * WGS84.geometry_length(result) / 1e4
        assert geodesic_ha(result) == pytest.approx(AREAS_HA[zone.code], abs=slack_ha)


@BOTH
def test_the_boundary_is_the_fields(read, version):
    task_data, _ = read(taskset_files(small_plan(), "dry", version=version))
    (polygon,) = task_data.partfields[0].polygons
    assert polygon.type.value == "1"
    result = SHAPES[version].to_shapely_polygon(polygon)
    assert geodesic_ha(result) == pytest.approx(FIELD_HA, rel=1e-6)


@pytest.mark.parametrize(("version", "corners"), [(3, 4), (4, 5)])
def test_rings_repeat_their_first_corner_in_version_4_only(read, version, corners):
    task_data, _ = read(taskset_files(small_plan(), "dry", version=version))
    exterior, interior = task_data.tasks[0].treatment_zones[1].polygons[0].line_strings
    assert (exterior.type.value, interior.type.value) == ("1", "2")
    assert len(exterior.points) == len(interior.points) == corners
    assert {point.type.value for point in exterior.points} == {"2"}


@BOTH
@pytest.mark.parametrize("name", DEMOS)
@pytest.mark.parametrize("moisture", ["dry", "wet"])
def test_demo_fields_are_read_zone_by_zone(read, demos, version, name, moisture):
    plan = demos[name]
    task_data, _ = read(taskset_files(plan, moisture, version=version))
    boundary = SHAPES[version].to_shapely_multi_polygon(task_data.partfields[0].polygons)
    assert len(boundary.geoms) == len(shapely.get_parts(plan.field.shape))
    assert geodesic_ha(boundary) == pytest.approx(plan.field.area_ha, rel=1e-6)
    zones = task_data.tasks[0].treatment_zones[1:]
    for zone, setting in zip(zones, plan.settings, strict=True):
        answer = SHAPES[version].to_shapely_multi_polygon(zone.polygons)
        assert answer.is_valid
        slack_ha = SHIFT_M * WGS84.geometry_length(answer) / 1e4
        assert geodesic_ha(answer) == pytest.approx(setting.zone.area_ha, abs=slack_ha)
        command = command_n(setting, moisture, "downforce")
        assert values(zone) == ([] if command is None else [(b"\x01\xaa", command)])
        assert zone.designator.startswith(f"{setting.zone.id} ")
        result = setting.moistures[moisture]
        assert isinstance(result, Setting) == (command is not None)
        assert zone.designator.endswith(
            f" close {result.closing_notch}" if isinstance(result, Setting) else "no number"
        )


def test_two_parts_are_two_polygons(read):
    parts = MultiPolygon([box(-150, -100, -50, 0), box(50, 0, 150, 100)])
    task_data, _ = read(taskset_files(with_shape(parts), "dry"))
    assert len(task_data.partfields[0].polygons) == 2
    result = SHAPES[4].to_shapely_multi_polygon(task_data.tasks[0].treatment_zones[1].polygons)
    assert geodesic_ha(result) == pytest.approx(2.0, rel=1e-6)  # WORKED: twice 100 x 100 m


def test_a_hole_that_touches_its_outline_stays_valid(read):
    # The corner (50, 19) lies on the side from (0, 0) to (100, 38); rounded, it is outside.
    outline = [(0, 0), (100, 38), (70, 130), (-20, 90)]
    touching = Polygon(outline, [[(50, 19), (60, 60), (20, 50)]])
    task_data, _ = read(taskset_files(with_shape(touching), "dry"))
    (polygon,) = task_data.tasks[0].treatment_zones[1].polygons
    result = SHAPES[4].to_shapely_polygon(polygon)
    assert result.is_valid
    # WORKED: shoelace, (10340 + 8900) / 2 less (1860 + 1800 - 2120) / 2 m²
    slack_ha = SHIFT_M * WGS84.geometry_length(result) / 1e4
    assert geodesic_ha(result) == pytest.approx(0.885, abs=slack_ha)


@BOTH
def test_numbers_are_plain_even_where_both_degrees_are_near_nothing(read, version):
    field = replace(FIELD, crs="+proj=laea +lat_0=0 +lon_0=0 +datum=WGS84 +units=m")
    files = taskset_files(replace(small_plan(), field=field), "dry", version=version, grid=True)
    assert not re.search(rb'"-?[0-9.]+[eE]', files["TASKDATA.XML"])
    task_data, _ = read(files)
    (polygon,) = task_data.partfields[0].polygons
    result = SHAPES[version].to_shapely_polygon(polygon)
    assert result.contains(shapely.Point(0, 0))
    assert geodesic_ha(result) == pytest.approx(FIELD_HA, rel=1e-6)


@pytest.mark.parametrize(
    ("name", "whole"),
    [
        ('Sow\'s "80" <north> & Åmål', 'Sow\'s "80" <north> & Åmål'),
        ("Поле за рекой, у старой мельницы", "Поле за рекой, у старой мельницы"),  # 32 letters
        ("Поле за рекой, у старой мельницы 2", "Поле за рекой, у старой мельницы"),
        ("Cre\u0302t\tdu\nNoyer\u00a0\x07", "Crêt du Noyer"),
    ],
)
def test_names_of_any_letters_come_through(read, name, whole):
    plan = replace(small_plan(), field=replace(FIELD, name=name))
    task_data, _ = read(taskset_files(plan, "dry"))
    assert task_data.partfields[0].designator == whole
    assert task_data.tasks[0].designator == f"dry downforce: {whole}"[:32].strip()


def test_as_many_zones_as_there_are_codes(read):
    task_data, _ = read(taskset_files(with_zones(MOST_ZONES), "dry"))
    assert [zone.code for zone in task_data.tasks[0].treatment_zones] == list(range(255))
    with pytest.raises(OutputError, match=r"has 255 zones; a task set can tell 254 apart\.\nMake"):
        taskset_files(with_zones(MOST_ZONES + 1), "dry")


@pytest.mark.parametrize("grid", [False, True])
def test_bytes_repeat(grid):
    files = taskset_files(small_plan(), "dry", grid=grid)
    assert files == taskset_files(small_plan(), "dry", grid=grid)
    assert sorted(files) == (["GRD00001.BIN", "TASKDATA.XML"] if grid else ["TASKDATA.XML"])
    assert check_taskset(files) == []
    assert files["TASKDATA.XML"].startswith(b'<?xml version="1.0" encoding="UTF-8"?>\n<ISO11783_')
