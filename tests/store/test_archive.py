"""A saved plan is opened as it was saved, or not at all, and says what became of its numbers."""

import dataclasses
import datetime
import hashlib
import io
import json
import random
import zipfile

import pytest

from tests.helpers.jobs import demo_job, job, plan_of, sent
from tests.pages.uploads import DEMOS, HOSTILE, TWO_SOILS, hill, machine, square, tif
from zoneplan.demo import plan_demo
from zoneplan.errors import SavedError, ZoneplanError
from zoneplan.export.document import SCHEMA as FORM
from zoneplan.export.document import plan_bytes
from zoneplan.export.load_plan import load_plan
from zoneplan.export.zone_files import zipped
from zoneplan.request import DRAWN, Drawn, Request, TitleBlock
from zoneplan.rowunit.machine import SYSTEMS
from zoneplan.rowunit.observation import Observation
from zoneplan.run import Job
from zoneplan.sources import Sources, Upload
from zoneplan.store import archive as archive_module
from zoneplan.store.archive import PLAN, SCHEMA, WHOLE, WORK, opened, saved, saved_name
from zoneplan.store.changed_since_saved import changed_since_saved
from zoneplan.zones.edit import Merge, Override, Rename, Split

OUTLINE = json.dumps(
    {"type": "Polygon", "coordinates": [[[-93, 42], [-92.9, 42], [-92.9, 42.1], [-93, 42]]]}
)
WEST, EAST = (-93.003, 42.001), (-93.001, 42.002)
DAY = datetime.date(2026, 4, 20)


BOUNDARY, SOIL, RASTER = sent(square()), sent(TWO_SOILS), sent(tif("clay.tif", 20, 50))
OWN_RULES = Upload(
    "ours.toml",
    b'decides = "closing"\nunit = "lbf"\nrevised = 2026-11-20\ndrop = ["closing-spiked"]\n',
)
MORE = (("later", '{"a": [1]}'), ("latest", "null"))
EVERY_FILE = Sources(
    machine=sent(machine("level")),
    boundary=BOUNDARY,
    soils=(SOIL, RASTER, SOIL),
    samples=Upload("lab.csv", b"x,y\r\n"),
    elevation=sent(hill()),
    tracks=Upload("tracks.kml", b"\x00\xff"),
    zones=Upload("knoll.zip", b""),
    rules=(OWN_RULES, OWN_RULES),
    checks=(Upload("check.toml", b"zone = 1"),),
    more=MORE,
)
EDITS = (
    Split((WEST, EAST, (-93.0, 42.1234567))),
    Merge(WEST, EAST),
    Rename(WEST, "Knoll"),
    Rename(EAST, ""),
    Split((WEST, EAST), WEST, "two soils", "AB", DAY),
    Merge(WEST, EAST, "one soil", "ВГ", DAY),
    Rename(WEST, "Low", "wet there", "AB", DAY),
    Override(WEST, "margin", "dry", 1556.0277, "dug there", "AB", DAY, sure=True),
    Override(WEST, "margin", "moist", 556.0277, "dug there", "AB", DAY),
    Override(EAST, "closing", "dry", "B", "it closes", "ВГ", DAY),
)
NAMES = ("Пойма.geojson", HOSTILE, 'it\'s "so"\\..\\..\n\t', "é" * 200 + ".zip", "..", "")
EVERYTHING = Job(
    Request(
        name="Ada's",
        pick='owner="Ada"',
        crs="EPSG:4326",
        columns=(("clay", "CLAY_PCT"), ("texture", "тип")),
        bands=(("clay", "2"), ("sand", "soil.tif:1")),
        raster_unit="g/kg",
        layers_as_given=True,
        headland_passes=2,
        headland_sides=("north", "west"),
        track_width_m=3.5,
        tiled=True,
        tillage="no-till",
        speed_mps=2.46,
        depth_m=0.0445,
        residue_frac=0.35,
        least_area_m2=10_000.5,
        least_width_m=18.0,
        most_zones=4,
        moisture="wet",
        drawn=tuple(Drawn(what, f"{what} <b>", OUTLINE, MORE) for what in DRAWN),
        edits=EDITS,
        observations=(Observation(1, "moist", 0.6, 890.1, 400.5, 200.25, weighed=True),),
        title=TitleBlock("Ada", "Mud", "2027", 3, "B. <i>", "+1", DAY, "0a" * 32, more=MORE),
        more=MORE,
    ),
    EVERY_FILE,
)
JOBS = {
    "a demo field": demo_job("level"),
    **{
        f"on {system}": demo_job("creek", system, speed_mps=1.8, depth_m=0.05) for system in SYSTEMS
    },
    "files": job(boundary=BOUNDARY, soils=(SOIL,)),
    "drawn alone": job(
        request=Request(drawn=(Drawn("boundary", "", OUTLINE), Drawn("soil", "loam", OUTLINE)))
    ),
    "everything": EVERYTHING,
    **{
        f"called {number}": job(
            Upload(name, b""),
            Request(
                pick=name + "?",
                edits=(
                    Rename(WEST, name),
                    Override(WEST, "closing", "wet", name, name, name, DAY),
                ),
            ),
            boundary=Upload(name, b"{}"),
            soils=(Upload(name, b"[]"),) * 2,
        )
        for number, name in enumerate(NAMES)
    },
}


@pytest.fixture(scope="module")
def plan():
    return plan_demo(DEMOS["level"])


@pytest.mark.parametrize("asked", JOBS.values(), ids=JOBS)
def test_what_is_opened_is_what_was_saved(asked, plan):
    content = saved(asked, plan)
    saved_plan = opened(content, "x.zip")
    assert saved_plan.job == asked
    assert hash(saved_plan.job) == hash(asked)
    assert saved_plan.field == plan.field.name
    assert changed_since_saved(saved_plan.document, plan) == []
    assert saved(asked, plan) == content  # the same bytes
    assert saved(saved_plan.job, plan) == content


@pytest.mark.parametrize("noun", [EVERYTHING.request, EVERYTHING.request.title, EVERY_FILE])
def test_every_part_was_tried(noun):
    usual = Sources("") if isinstance(noun, Sources) else type(noun)()
    for field in dataclasses.fields(noun):
        assert getattr(noun, field.name) != getattr(usual, field.name), field.name


def test_the_plan_in_it_is_loaded_whole(plan):
    whole = load_plan(unzipped(saved(EVERYTHING, plan))[WHOLE])
    assert whole.plan == plan  # rules, shapes and all
    assert whole.request["speed_mps"] == 2.46
    assert [source.role for source in whole.sources][:3] == ["machine", "boundary", "soils"]
    assert whole.sources[1].sha256 == hashlib.sha256(BOUNDARY.content).hexdigest()


def test_a_plan_of_another_form_is_not_loaded(plan):
    content = unzipped(saved(EVERYTHING, plan))[WHOLE]
    for broken, words in (
        (content[:-9], "x.json cannot be loaded: "),
        (content.replace(b"zoneplan-whole/1", b"zoneplan-whole/9"), "its form is not"),
        (b"[]", "x.json cannot be loaded: "),
        (content.replace(b'"area_ha": ', b'"area_ha": "x'), "x.json "),
        (content.replace(b'"uncovered_ha"', b'"uncovered"'), "x.json has 1 fault:"),
    ):
        with pytest.raises(SavedError, match=words):
            load_plan(broken, "x.json")


def test_a_person_can_look_into_it(plan):
    archive = zipfile.ZipFile(io.BytesIO(saved(EVERYTHING, plan)))
    names = archive.namelist()
    assert names[:3] == [WORK, PLAN, WHOLE]
    assert all(name.startswith("files/") for name in names[3:])
    assert archive.read("files/02 square.geojson") == BOUNDARY.content
    assert archive.read(PLAN) == plan_bytes(plan)
    work = json.loads(archive.read(WORK))
    assert work["field"] == plan.field.name
    assert work["sources"]["boundary"] == {
        "name": "square.geojson",
        "file": "files/02 square.geojson",
    }
    assert work["request"]["edits"][4]["on"] == "2026-04-20"
    assert "Пойма.geojson" in saved_text(JOBS["called 0"], plan)  # as it is read


def saved_text(asked, plan):
    return zipfile.ZipFile(io.BytesIO(saved(asked, plan))).read(WORK).decode()


def test_it_is_called_as_its_field(plan):
    named = dataclasses.replace(plan, field=dataclasses.replace(plan.field, name="Ada's <40>"))
    assert saved_name(named) == "Ada_s _40_ (saved plan).zip"


# Ground that is read, planned and planned again from the saved plan alone.
PLANNED = {
    "a demo field": demo_job(
        "level", rules=(OWN_RULES,), headland_passes=1, headland_sides=("north",)
    ),
    "files": job(
        sent(machine("level")),
        Request(
            speed_mps=2.7,
            edits=(
                Rename(WEST, "Knoll"),
                Override(WEST, "margin", "moist", 556.0277, "dug there", "AB", DAY),
            ),
        ),
        boundary=BOUNDARY,
        soils=(SOIL,),
        elevation=sent(hill()),
    ),
}


@pytest.mark.parametrize("asked", PLANNED.values(), ids=PLANNED)
def test_it_is_planned_again_to_the_same_numbers(asked):
    plan = plan_of(asked)
    saved_plan = opened(saved(asked, plan), "x.zip")
    again = plan_of(saved_plan.job)
    assert changed_since_saved(saved_plan.document, again) == []
    assert plan_bytes(again) == plan_bytes(plan)
    assert load_plan(unzipped(saved(asked, plan))[WHOLE]).plan == plan


def test_a_folder_that_was_zipped_again_is_opened_too(plan):
    files = unzipped(saved(EVERYTHING, plan))
    packed = {f"Creek (saved plan)/{name}": each for name, each in files.items()}
    packed["__MACOSX/Creek (saved plan)/._work.json"] = b"\0"
    assert opened(zipped(packed), "x.zip").job == EVERYTHING


def test_the_first_form_is_read_in_si(plan):
    asked = {
        "ground": "creek",
        "machine": "looped-air",
        "tillage": "no-till",
        "speed_mph": 6,
        "depth_in": 2,
        "residue_pct": 35,
        "least_acres": 5000,
        "least_width_ft": 60,
        "headland": 2,
        "sides": ["north"],
    }
    result = opened(with_work(plan, schema="zoneplan-work/1", asked=asked), "x.zip").job
    # WORKED: 6 x 0.44704; 2 x 0.0254; 35 / 100; 60 x 0.3048; of acres the most that may be is 1000
    assert result == demo_job(
        "creek",
        "closed-loop-air",
        tillage="no-till",
        speed_mps=2.68224,
        depth_m=0.0508,
        residue_frac=0.35,
        least_area_m2=4046856.4224,
        least_width_m=18.288,
        headland_passes=2,
        headland_sides=("north",),
    )
    asked |= {"machine": "this field's own planter", "speed_mph": 99}
    message = refused(with_work(plan, schema="zoneplan-work/1", asked=asked))
    assert "speed_mps: 44.25696 is not a number from 0.44704 to 6.7056." in message


# ---- what is refused ---------------------------------------------------------------------------


def unzipped(content):
    archive = zipfile.ZipFile(io.BytesIO(content))
    return {name: archive.read(name) for name in archive.namelist()}


def refused(content):
    with pytest.raises(SavedError) as result:
        opened(content, "x.zip")
    assert isinstance(result.value, ZoneplanError)
    assert str(result.value).startswith("x.zip ")
    return str(result.value)


def with_work(plan, **changes):
    """A saved plan of another job."""
    files = unzipped(saved(EVERYTHING, plan))
    work = json.loads(files[WORK])
    return zipped(files | {WORK: json.dumps(work | changes).encode()})


def with_request(plan, **changes):
    request = json.loads(unzipped(saved(EVERYTHING, plan))[WORK])["request"]
    return with_work(plan, request=request | changes)


def with_sources(plan, **changes):
    sources = json.loads(unzipped(saved(EVERYTHING, plan))[WORK])["sources"]
    return with_work(plan, sources=sources | changes)


def test_what_is_no_saved_plan_is_told_from_one(plan):
    assert "File is not a zip file" in refused(b"\x89PNG\r\n\x1a\n")
    assert "It is damaged, or no saved plan at all." in refused(b"")
    assert "is no saved plan: there is no work.json in it" in refused(zipped({"a.shp": b""}))
    finished = refused(zipped({PLAN: plan_bytes(plan), "zones.geojson": b"{}"}))
    assert "holds a finished plan and not what it was made from" in finished
    assert "Open the zip that was saved with “Save the plan”" in finished


FORMS = {
    "newer": (
        "zoneplan-work/9",
        "it is in the form zoneplan-work/9, written by zoneplan 9.9; this ",
    ),
    "far newer": (f"zoneplan-work/{'9' * 6000}", "it is in the form zoneplan-work/9999"),
    "another's": ("other/1", f"it does not begin as ours do, with {SCHEMA}: its schema is other/1"),
    "nought": ("zoneplan-work/0", "it does not begin as ours do"),
    "no number": ("zoneplan-work/²", "it does not begin as ours do"),
    "none": (None, "it does not begin as ours do"),
    "no text": (1, "it does not begin as ours do"),
}


@pytest.mark.parametrize(("form", "words"), FORMS.values(), ids=FORMS)
def test_a_form_that_is_not_known_is_refused_in_words(form, words, plan):
    message = refused(with_work(plan, schema=form, zoneplan="9.9"))
    assert f"cannot be opened: {words}" in message
    assert len(message) < 500
    assert ("Install the newer zoneplan" in message) == words.startswith("it is in the form")


def test_a_plan_of_a_form_that_is_not_known_is_refused_in_words(plan):
    files = unzipped(saved(demo_job("level"), plan))
    document = json.loads(files[PLAN]) | {"schema": "zoneplan-plan/99"}
    message = refused(zipped(files | {PLAN: json.dumps(document).encode()}))
    assert "plan.json cannot be read: it is in the form zoneplan-plan/99; this zoneplan" in message


def test_what_a_newer_zoneplan_added_is_kept_and_not_read(plan):
    files = unzipped(saved(EVERYTHING, plan))
    work, later = json.loads(files[WORK]), {"sowing": {"rate": [1, None, "é"]}}
    for table in (work, work["request"], work["sources"], work["request"]["drawn"][0]):
        table.update(later)
    for edit in work["request"]["edits"]:
        edit.update(later)
    saved_plan = opened(zipped(files | {WORK: json.dumps(work).encode()}), "x.zip")
    assert saved_plan.job != EVERYTHING
    assert hash(saved_plan.job) != hash(EVERYTHING)
    assert saved_plan.job.request.most_zones == EVERYTHING.request.most_zones
    changed = dataclasses.replace(saved_plan.job.request, most_zones=7)  # as a person works on
    again = json.loads(unzipped(saved(Job(changed, saved_plan.job.sources), plan))[WORK])
    assert again["request"] == work["request"] | {"most_zones": 7}
    assert again["sources"] == work["sources"]


def test_so_many_faults_are_told_and_how_many_more_there_are(plan):
    result = refused(with_request(plan, edits=[{"does": "y"}] * 5_000)).split("\n")
    assert result[0] == "x.zip has 5,000 faults:"
    assert result[21] == "  and 4,980 more"
    assert len(result) < 25


def test_more_than_we_keep_is_refused(plan):
    message = refused(with_request(plan, sowing="x" * 200_000))
    assert "it holds more of what we cannot read than we keep" in message
    message = refused(with_request(plan, **{f"later {n}": 1 for n in range(200)}))
    assert "it holds more of what we cannot read than we keep" in message


def test_lists_and_texts_have_bounds(plan):
    message = refused(with_request(plan, edits=[{"does": "merge"}] * 20_000))
    assert "edits: 20,000 are there, and 10,000 may be." in message
    message = refused(with_request(plan, pick="x" * 20_000))
    assert "pick: 20,000 letters are there, and 10,000 may be." in message
    shape = {"what": "soil", "name": "", "shape": " " * 2_000_000}
    message = refused(with_request(plan, drawn=[shape]))
    assert "drawn, 1, shape: 2,000,000 letters are there, and 1,000,000 may be." in message


TEXTS = {
    "cut short": (b'{"schema": "zoneplan', "work.json is damaged: Unterminated string"),
    "not UTF-8": (b'{"a": "\xff\xfe"}', "work.json is damaged: 'utf-8' codec"),
    "a name twice": (b'{"a": 1, "a": 2}', "work.json is damaged: a name stands twice"),
    "no number": (b'{"a": NaN}', "work.json is damaged: NaN is no number"),
    "endless": (b'{"a": 1e999}', "work.json is damaged: 1e999 is no number"),
    "too deep": (b"[" * 100_000, "work.json is damaged: "),
    "a list": (b"[]", "work.json is damaged: it holds no parts that are named."),
}


@pytest.mark.parametrize(("text", "words"), TEXTS.values(), ids=TEXTS)
def test_damaged_text_is_told_with_its_place(text, words, plan):
    assert words in refused(zipped({WORK: text, PLAN: plan_bytes(plan)}))


POINT_TWO = [-93, 42]
FAULTS = {
    "tillage": (
        "ploughed",
        'tillage: "ploughed" is not a tillage. Use tilled, strip-till or no-till.',
    ),
    "speed_mps": (99, "speed_mps: 99 is not a number from 0.44704 to 6.7056."),
    "depth_m": (
        "2",
        'depth_m: "2" is not a number from 0.0127 to 0.1016. Write one without quotes or unit.',
    ),
    "residue_frac": (1.5, "residue_frac: 1.5 is not a number from 0 to 1."),
    "headland_passes": (True, "headland_passes: true is not a whole number from 0 to 20."),
    "headland_sides": (["north", "north"], "headland_sides: one of them stands twice."),
    "most_zones": (0, "most_zones: 0 is not a whole number, 1 or more."),
    "columns": ([["colour", "C"]], 'columns, 1, 1: "colour" is not a column. Use '),
    "observations": ([{"zone": 1}], "observations, 1: it is no hand check as we write one."),
    "drawn": (
        [{"what": "soil", "name": "", "shape": '{"type": "Point", "coordinates": [0, 0]}'}],
        "drawn, 1, shape: ",
    ),
}
SOURCE_FAULTS = {
    "boundary": ({"demo": "atlantis"}, 'boundary.demo: "atlantis" is not a demo field. Use '),
    "machine": ("sprigns", 'machine: "sprigns" is not a machine. Did you mean "springs"?'),
    "samples": ({"demo": "creek"}, "samples has no name. Say what it was called."),
    "rules": (
        [{"name": "r.toml", "file": "files/../work.json"}],
        'rules, 1, file: "files/../work.json" is missing, which holds "r.toml".',
    ),
}
EDIT_FAULTS = {
    "no such edit": (
        {"does": "erase"},
        'edits, 1, does: "erase" is not a change. Did you mean ',
    ),
    "too short": (
        {"does": "split", "line": [POINT_TWO]},
        "edits, 1, line: fewer than 2 are there.",
    ),
    "off the earth": (
        {"does": "rename", "at": [-93, 142], "name": ""},
        "edits, 1, at, 2: 142 is not a number from -90 to 90.",
    ),
    "a missing part": ({"does": "merge", "one": POINT_TWO}, "edits, 1 has no other. Give a place"),
    "a notch for a load": (
        {
            "does": "override",
            "at": POINT_TWO,
            "decides": "margin",
            "moisture": "dry",
            "value": "B",
            "why": "",
            "initials": "",
            "on": "2026-04-20",
        },
        'edits, 1, value: "B" is not a load in newtons.',
    ),
    "no such day": (
        {
            "does": "override",
            "at": POINT_TWO,
            "decides": "margin",
            "moisture": "damp",
            "value": 5,
            "why": "",
            "initials": "",
            "on": "2026-13-45",
        },
        'edits, 1, on: "2026-13-45" is not a date.',
    ),
}


@pytest.mark.parametrize("part", FAULTS)
def test_a_part_that_cannot_be_is_told(part, plan):
    value, words = FAULTS[part]
    assert words in refused(with_request(plan, **{part: value}))


@pytest.mark.parametrize("part", SOURCE_FAULTS)
def test_a_file_that_cannot_be_is_told(part, plan):
    value, words = SOURCE_FAULTS[part]
    assert words in refused(with_sources(plan, **{part: value}))


@pytest.mark.parametrize(("edit", "words"), EDIT_FAULTS.values(), ids=EDIT_FAULTS)
def test_a_change_that_cannot_be_is_told(edit, words, plan):
    assert words in refused(with_request(plan, edits=[edit]))


def test_every_fault_is_told_at_once(plan):
    files = unzipped(with_request(plan, tillage="ploughed", headland_passes=99))
    del files["files/03 soils.geojson"]
    message = refused(zipped(files | {PLAN: json.dumps({"schema": FORM, "zones": 5}).encode()}))
    assert message.startswith("x.zip has 6 faults:")
    assert "tillage: " in message
    assert "headland_passes: " in message
    assert "plan.json, zones: 5 is not a list." in message
    files = unzipped(saved(EVERYTHING, plan))
    del files["files/03 soils.geojson"], files[PLAN]
    message = refused(zipped(files))
    assert "plan.json is missing." in message
    assert '"files/03 soils.geojson" is missing, which holds "soils.geojson".' in message


def test_ground_of_nothing_is_told(plan):
    work = {"request": {}, "sources": {"machine": "springs", "soils": []}}
    message = refused(with_work(plan, **work))
    assert "there is no boundary, neither a file nor drawn" in message
    assert "there is no soil layer, neither a file nor drawn" in message


def test_a_long_value_is_told_in_short(plan):
    assert len(refused(with_request(plan, tillage="x" * 100_000))) < 1000
    assert len(refused(with_request(plan, edits=[{"does": "y" * 9}] * 50_000))) < 5000


def archive(*members):
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as out:
        for name, content in members:
            out.writestr(name, content)
    return packed.getvalue()


def test_a_zip_that_is_not_honest_is_refused(plan, monkeypatch):
    whole = [*unzipped(saved(demo_job("level"), plan)).items()]
    for name in ("../out.json", "/etc/passwd", "C:\\a.json", "files\\..\\..\\a"):
        assert f"a file outside itself: {name}." in refused(archive(*whole, (name, b"")))
    with pytest.warns(UserWarning, match="Duplicate name"):
        twice = archive(*whole, (WORK, b"{}"))
    assert "work.json is in it 2 times, though" in refused(twice)
    assert "work.json is in it 2 times, though" in refused(archive(*whole, ("WORK.json", b"{}")))
    assert "1,003 files" in refused(archive(*whole, *((f"files/{n}", b"") for n in range(1000))))
    monkeypatch.setattr(archive_module, "MOST_MB", 1)
    bomb = archive(*whole, ("files/zeros", bytes(2_000_000)))
    assert len(bomb) < 100_000
    assert "2 MB together" in refused(bomb)


def test_text_of_ours_is_bounded_too(plan, monkeypatch):
    monkeypatch.setattr(archive_module, "_MOST_TEXT_MB", 0.001)
    assert "work.json is 0 MB, more than any that we write." in refused(saved(EVERYTHING, plan))


def test_a_damaged_copy_is_refused_or_whole(plan):
    whole = saved(EVERYTHING, plan)
    dice = random.Random(6)
    for _ in range(200):
        broken = bytearray(whole)
        for _ in range(dice.choice((1, 3, 40))):
            broken[dice.randrange(len(broken))] = dice.randrange(256)
        try:
            saved_plan = opened(
                bytes(broken[: dice.choice((len(broken), dice.randrange(9999)))]), "x"
            )
        except SavedError:
            continue
        assert saved_plan.job == EVERYTHING


# ---- what became of its numbers ----------------------------------------------------------------


def document(plan, **changes):
    return json.loads(plan_bytes(plan)) | changes


def test_numbers_that_changed_are_told_old_and_new(plan):
    before = document(plan)
    moist = before["zones"][0]["moistures"]["moist"]
    last = next(zone for zone in reversed(before["zones"]) if zone["moistures"]["dry"]["margin_n"])
    dry = last["moistures"]["dry"]
    margin_n, notch = moist["margin_n"], moist["closing_notch"]
    moist["margin_n"] = margin_n + 10 * 4.4482216  # WORKED: ten pounds more
    moist["closing_notch"] = "Z"
    dry.update(margin_n=None, setting=None, wait=True)
    result = changed_since_saved(before, plan)
    pounds = round(margin_n / 4.4482216)
    assert result[0] == (
        f"Zone 1, moist: margin target {pounds} lb ({margin_n:.0f} N), was {pounds + 10} lb "
        f"({margin_n + 44.48:.0f} N); closing notch {notch}, was Z."
    )
    assert result[1].startswith(f"Zone {last['id']}, dry: spring position ")
    assert result[1].endswith(", was wait.")
    assert len(result) == 2


def test_a_difference_that_nobody_reads_is_none(plan):
    before = document(plan)
    before["zones"][0]["moistures"]["moist"]["margin_n"] += 1e-6
    assert changed_since_saved(before, plan) == []


def test_what_lies_behind_it_is_told_first(plan):
    before = document(plan, rules={"revised": "2025-01-01", "sha256": "0" * 64})
    assert changed_since_saved(before, plan) == []  # other rules, the same numbers
    before["zones"][0]["area_ha"] *= 1.1
    before["machine"] = before["machine"] | {"rows": 99}
    rules, planter, area = changed_since_saved(before, plan)
    assert "they were those of 2025-01-01" in rules
    assert planter == "Its planter is described otherwise."
    assert area.startswith("Zone 1: ")


def test_zones_that_are_drawn_otherwise_are_not_compared_one_by_one(plan):
    before = document(plan)
    before["zones"].pop()
    now, result = len(plan.settings), changed_since_saved(before, plan)
    assert result == [f"It has {now} zones, and had {now - 1}: check every number."]
