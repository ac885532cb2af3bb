"""A saved plan is opened as it was saved, or not at all, and says what became of its numbers."""

import dataclasses
import datetime
import io
import json
import random
import zipfile

import pytest

from tests.pages.uploads import DEMOS, HOSTILE, TWO_SOILS, hill, machine, square, tif
from zoneplan.demo import plan_demo
from zoneplan.errors import ZoneplanError
from zoneplan.export.document import SCHEMA as FORM
from zoneplan.export.document import plan_bytes
from zoneplan.rowunit.machine import SYSTEMS
from zoneplan.work import saved as saved_module
from zoneplan.work.answer import plan_asked, zipped
from zoneplan.work.asked import DRAWN, OWN_MACHINE, Asked, Drawn, Ground, Upload
from zoneplan.work.saved import PLAN, SCHEMA, WORK, SavedError, opened, saved, saved_name
from zoneplan.work.since import since
from zoneplan.zones.edit import Merge, Override, Rename, Split

OUTLINE = json.dumps(
    {"type": "Polygon", "coordinates": [[[-93, 42], [-92.9, 42], [-92.9, 42.1], [-93, 42]]]}
)
WEST, EAST = (-93.003, 42.001), (-93.001, 42.002)
DAY = datetime.date(2026, 4, 20)


def asked(ground="level", machine=OWN_MACHINE, **changes):
    day = {"tillage": "tilled", "speed_mph": None, "depth_in": None, "residue_pct": 0}
    return Asked(ground, machine, **(day | changes))


def sent(upload):
    return Upload(*upload[:2])


BOUNDARY, SOIL, RASTER = sent(square()), sent(TWO_SOILS), sent(tif("clay.tif", 20, 50))
OWN_RULES = Upload(
    "ours.toml", b'decides = "margin"\nunit = "lbf"\nrevised = 2026-11-20\ndrop = ["speed"]\n'
)
MORE = (("later", '{"a": [1]}'), ("latest", "null"))
EVERY_FILE = Ground(
    boundary=BOUNDARY,
    soils=(SOIL, RASTER, SOIL),
    samples=Upload("lab.csv", b"x,y\r\n"),
    elevation=sent(hill()),
    tracks=Upload("tracks.kml", b"\x00\xff"),
    drawn=Upload("knoll.zip", b""),
    pick='owner="Ada"',
    crs="EPSG:4326",
    columns=(("clay", "CLAY_PCT"), ("texture", "тип")),
    raster_unit="g/kg",
    more=MORE,
)
EDITS = (
    Split((WEST, EAST, (-93.0, 42.1234567))),
    Merge(WEST, EAST),
    Rename(WEST, "Knoll"),
    Rename(EAST, ""),
    Override(WEST, "margin", "moist", 556.0277, "dug there", "AB", DAY),
    Override(EAST, "closing", "dry", "B", "it closes", "ВГ", DAY),
)
NAMES = ("Пойма.geojson", HOSTILE, 'it\'s "so"\\..\\..\n\t', "é" * 200 + ".zip", "..", "")
EVERYTHING = asked(
    EVERY_FILE,
    sent(machine("level")),
    tillage="no-till",
    speed_mph=5.5,
    depth_in=1.75,
    residue_pct=35,
    headland=2,
    sides=("north", "west"),
    drawn=tuple(Drawn(what, f"{what} <b>", OUTLINE) for what in DRAWN),
    least_acres=2.5,
    least_width_ft=60.0,
    most_zones=4,
    rules=(OWN_RULES, OWN_RULES),
    edits=EDITS,
    more=MORE,
)
QUESTIONS = {
    "a demo field": asked(),
    **{f"on {it}": asked("creek", it, speed_mph=4, depth_in=2) for it in SYSTEMS},
    "files": asked(Ground(boundary=BOUNDARY, soils=(SOIL,)), "springs"),
    "drawn alone": asked(
        Ground(), "springs", drawn=(Drawn("boundary", "", OUTLINE), Drawn("soil", "loam", OUTLINE))
    ),
    "everything": EVERYTHING,
    **{
        f"called {number}": asked(
            Ground(boundary=Upload(name, b"{}"), soils=(Upload(name, b"[]"),) * 2, pick=name + "?"),
            Upload(name, b""),
            edits=(
                Rename(WEST, name),
                Override(WEST, "closing", "wet", name, name, name, DAY),
            ),
        )
        for number, name in enumerate(NAMES)
    },
}


@pytest.fixture(scope="module")
def plan():
    return plan_demo(DEMOS["level"])


@pytest.mark.parametrize("question", QUESTIONS.values(), ids=QUESTIONS)
def test_what_is_opened_is_what_was_saved(question, plan):
    content = saved(question, plan)
    found = opened(content, "x.zip")
    assert found.asked == question
    assert hash(found.asked) == hash(question)
    assert found.field == plan.field.name
    assert since(found.kept, plan) == []
    assert saved(question, plan) == content  # the same bytes
    assert saved(found.asked, plan) == content


def test_every_part_of_a_question_was_tried():
    for part in (EVERYTHING, EVERY_FILE):
        usual = dataclasses.replace(asked(), ground="") if part is EVERYTHING else Ground()
        for it in dataclasses.fields(part):
            assert getattr(part, it.name) != getattr(usual, it.name), it.name


def test_a_person_can_look_into_it(plan):
    archive = zipfile.ZipFile(io.BytesIO(saved(EVERYTHING, plan)))
    names = archive.namelist()
    assert names[:2] == [WORK, PLAN]
    assert all(it.startswith("files/") for it in names[2:])
    assert archive.read("files/01 square.geojson") == BOUNDARY.content
    assert archive.read(PLAN) == plan_bytes(plan)
    work = json.loads(archive.read(WORK))
    assert work["field"] == plan.field.name
    assert work["asked"]["ground"]["boundary"] == {
        "name": "square.geojson",
        "file": "files/01 square.geojson",
    }
    assert work["asked"]["edits"][4]["on"] == "2026-04-20"
    assert "Пойма.geojson" in saved_text(QUESTIONS["called 0"], plan)  # as it is read


def saved_text(question, plan):
    return zipfile.ZipFile(io.BytesIO(saved(question, plan))).read(WORK).decode()


def test_it_is_called_as_its_field(plan):
    named = dataclasses.replace(plan, field=dataclasses.replace(plan.field, name="Ada's <40>"))
    assert saved_name(named) == "Ada_s _40_ (saved plan).zip"


# Ground that is read, planned and planned again from the saved plan alone.
PLANNED = {
    "a demo field": asked(headland=1, sides=("north",), rules=(OWN_RULES,)),
    "files": asked(
        Ground(boundary=BOUNDARY, soils=(SOIL,), elevation=sent(hill())),
        sent(machine("level")),
        speed_mph=6,
        edits=(
            Rename(WEST, "Knoll"),
            Override(WEST, "margin", "moist", 556.0277, "dug there", "AB", DAY),
        ),
    ),
}


@pytest.mark.parametrize("question", PLANNED.values(), ids=PLANNED)
def test_it_is_planned_again_to_the_same_numbers(question):
    plan = plan_asked(question).plan
    found = opened(saved(question, plan), "x.zip")
    again = plan_asked(found.asked).plan
    assert since(found.kept, again) == []
    assert plan_bytes(again) == plan_bytes(plan)


def test_a_folder_that_was_zipped_again_is_opened_too(plan):
    files = unzipped(saved(EVERYTHING, plan))
    packed = {f"Creek (saved plan)/{name}": it for name, it in files.items()}
    packed["__MACOSX/Creek (saved plan)/._work.json"] = b"\0"
    assert opened(zipped(packed), "x.zip").asked == EVERYTHING


# ---- what is refused ---------------------------------------------------------------------------


def unzipped(content):
    archive = zipfile.ZipFile(io.BytesIO(content))
    return {it: archive.read(it) for it in archive.namelist()}


def refused(content):
    with pytest.raises(SavedError) as told:
        opened(content, "x.zip")
    assert isinstance(told.value, ZoneplanError)
    assert str(told.value).startswith("x.zip ")
    return str(told.value)


def with_work(plan, **changes):
    """A saved plan whose question is another."""
    files = unzipped(saved(EVERYTHING, plan))
    work = json.loads(files[WORK])
    return zipped(files | {WORK: json.dumps(work | changes).encode()})


def with_question(plan, **changes):
    question = json.loads(unzipped(saved(EVERYTHING, plan))[WORK])["asked"]
    return with_work(plan, asked=question | changes)


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
    told = refused(with_work(plan, schema=form, zoneplan="9.9"))
    assert f"cannot be opened: {words}" in told
    assert len(told) < 500
    assert ("Install the newer zoneplan" in told) == words.startswith("it is in the form")


def test_a_plan_of_a_form_that_is_not_known_is_refused_in_words(plan):
    files = unzipped(saved(asked(), plan))
    document = json.loads(files[PLAN]) | {"schema": "zoneplan-plan/99"}
    told = refused(zipped(files | {PLAN: json.dumps(document).encode()}))
    assert "plan.json cannot be read: it is in the form zoneplan-plan/99; this zoneplan" in told


def test_what_a_newer_zoneplan_added_is_kept_and_not_read(plan):
    files = unzipped(saved(EVERYTHING, plan))
    work, later = json.loads(files[WORK]), {"sowing": {"rate": [1, None, "é"]}}
    for table in (work, work["asked"], work["asked"]["ground"], work["asked"]["drawn"][0]):
        table.update(later)
    for edit in work["asked"]["edits"]:
        edit.update(later)
    found = opened(zipped(files | {WORK: json.dumps(work).encode()}), "x.zip")
    assert found.asked != EVERYTHING
    assert hash(found.asked) != hash(EVERYTHING)
    assert found.asked.most_zones == EVERYTHING.most_zones
    changed = dataclasses.replace(found.asked, most_zones=7)  # as a person works on
    again = json.loads(unzipped(saved(changed, plan))[WORK])["asked"]
    assert again == work["asked"] | {"most_zones": 7}


def test_so_many_faults_are_told_and_how_many_more_there_are(plan):
    told = refused(with_question(plan, edits=[{"does": "y"}] * 5_000)).split("\n")
    assert told[0] == "x.zip has 5,000 faults:"
    assert told[21] == "  and 4,980 more"
    assert len(told) < 25


def test_more_than_we_keep_is_refused(plan):
    told = refused(with_question(plan, sowing="x" * 200_000))
    assert "it holds more of what we cannot read than we keep" in told
    told = refused(with_question(plan, **{f"later {n}": 1 for n in range(200)}))
    assert "it holds more of what we cannot read than we keep" in told


def test_lists_and_texts_have_bounds(plan):
    told = refused(with_question(plan, edits=[{"does": "merge"}] * 20_000))
    assert "edits: 20,000 are there, and 10,000 may be." in told
    ground = {"boundary": None, "soils": [], "columns": [], "pick": "x" * 20_000}
    told = refused(with_question(plan, ground=ground))
    assert "ground.pick: 20,000 letters are there, and 10,000 may be." in told
    shape = {"what": "soil", "name": "", "shape": " " * 2_000_000}
    told = refused(with_question(plan, drawn=[shape]))
    assert "drawn, 1, shape: 2,000,000 letters are there, and 1,000,000 may be." in told


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
    "speed_mph": (99, "speed_mph: 99 is not a number from 1 to 15."),
    "depth_in": (
        "2",
        'depth_in: "2" is not a number from 0.5 to 4. Write one without quotes or unit.',
    ),
    "residue_pct": (12.5, "residue_pct: 12.5 is not a whole number from 0 to 100."),
    "headland": (True, "headland: true is not a whole number from 0 to 8."),
    "sides": (["north", "north"], "sides: one of them stands twice."),
    "most_zones": (0, "most_zones: 0 is not a whole number, 1 or more."),
    "ground": ("atlantis", 'ground: "atlantis" is not a demo field. Use '),
    "machine": (OWN_MACHINE, "machine: this field's own planter is for demo fields."),
    "rules": (
        [{"name": "r.toml", "file": "files/../work.json"}],
        'rules, 1, file: "files/../work.json" is missing, which holds "r.toml".',
    ),
    "drawn": (
        [{"what": "soil", "name": "", "shape": '{"type": "Point", "coordinates": [0, 0]}'}],
        "drawn, 1, shape: ",
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
            "wetness": "dry",
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
            "wetness": "damp",
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
    assert words in refused(with_question(plan, **{part: value}))


@pytest.mark.parametrize(("edit", "words"), EDIT_FAULTS.values(), ids=EDIT_FAULTS)
def test_a_change_that_cannot_be_is_told(edit, words, plan):
    assert words in refused(with_question(plan, edits=[edit]))


def test_every_fault_is_told_at_once(plan):
    files = unzipped(with_question(plan, tillage="ploughed", headland=99))
    del files["files/02 soils.geojson"]
    told = refused(zipped(files | {PLAN: json.dumps({"schema": FORM, "zones": 5}).encode()}))
    assert told.startswith("x.zip has 6 faults:")
    assert "tillage: " in told
    assert "headland: " in told
    assert "plan.json, zones: 5 is not a list." in told
    files = unzipped(saved(EVERYTHING, plan))
    del files["files/02 soils.geojson"], files[PLAN]
    told = refused(zipped(files))
    assert "plan.json is missing." in told
    assert '"files/02 soils.geojson" is missing, which holds "soils.geojson".' in told


def test_ground_of_nothing_is_told(plan):
    told = refused(with_question(plan, ground={"soils": [], "columns": []}, drawn=[]))
    assert "there is no boundary, neither a file nor drawn" in told
    assert "there is no soil layer, neither a file nor drawn" in told


def test_a_long_value_is_told_in_short(plan):
    assert len(refused(with_question(plan, tillage="x" * 100_000))) < 1000
    assert len(refused(with_question(plan, edits=[{"does": "y" * 9}] * 50_000))) < 5000


def archive(*members):
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as out:
        for name, content in members:
            out.writestr(name, content)
    return packed.getvalue()


def test_a_zip_that_is_not_honest_is_refused(plan, monkeypatch):
    whole = [*unzipped(saved(asked(), plan)).items()]
    for name in ("../out.json", "/etc/passwd", "C:\\a.json", "files\\..\\..\\a"):
        assert f"a file outside itself: {name}." in refused(archive(*whole, (name, b"")))
    with pytest.warns(UserWarning, match="Duplicate name"):
        twice = archive(*whole, (WORK, b"{}"))
    assert "work.json is in it 2 times, though" in refused(twice)
    assert "work.json is in it 2 times, though" in refused(archive(*whole, ("WORK.json", b"{}")))
    assert "1,002 files" in refused(archive(*whole, *((f"files/{n}", b"") for n in range(1000))))
    monkeypatch.setattr(saved_module, "MOST_MB", 1)
    bomb = archive(*whole, ("files/zeros", bytes(2_000_000)))
    assert len(bomb) < 20_000
    assert "2 MB together" in refused(bomb)


def test_text_of_ours_is_bounded_too(plan, monkeypatch):
    monkeypatch.setattr(saved_module, "_MOST_TEXT_MB", 0.001)
    assert "work.json is 0 MB, more than any that we write." in refused(saved(EVERYTHING, plan))


def test_a_damaged_copy_is_refused_or_whole(plan):
    whole = saved(EVERYTHING, plan)
    dice = random.Random(6)
    for _ in range(200):
        broken = bytearray(whole)
        for _ in range(dice.choice((1, 3, 40))):
            broken[dice.randrange(len(broken))] = dice.randrange(256)
        try:
            found = opened(bytes(broken[: dice.choice((len(broken), dice.randrange(9999)))]), "x")
        except SavedError:
            continue
        assert found.asked == EVERYTHING


# ---- what became of its numbers ----------------------------------------------------------------


def kept(plan, **changes):
    return json.loads(plan_bytes(plan)) | changes


def test_numbers_that_changed_are_told_old_and_new(plan):
    before = kept(plan)
    moist, wet = before["zones"][0]["moistures"]["moist"], before["zones"][1]["moistures"]["wet"]
    margin_n, notch = moist["margin_n"], moist["closing_notch"]
    moist["margin_n"] = margin_n + 10 * 4.4482216  # WORKED: ten pounds more
    moist["closing_notch"] = "Z"
    wet.update(margin_n=None, setting=None, wait=True)
    told = since(before, plan)
    pounds = round(margin_n / 4.4482216)
    assert told[0] == (
        f"Zone 1, moist: margin target {pounds} lb ({margin_n:.0f} N), was {pounds + 10} lb "
        f"({margin_n + 44.48:.0f} N); closing notch {notch}, was Z."
    )
    assert told[1].startswith("Zone 2, wet: spring position ")
    assert told[1].endswith(", was wait.")
    assert len(told) == 2


def test_a_difference_that_nobody_reads_is_none(plan):
    before = kept(plan)
    before["zones"][0]["moistures"]["moist"]["margin_n"] += 1e-6
    assert since(before, plan) == []


def test_what_lies_behind_it_is_told_first(plan):
    before = kept(plan, rules={"revised": "2025-01-01", "sha256": "0" * 64})
    assert since(before, plan) == []  # other rules, the same numbers
    before["zones"][0]["area_ha"] *= 1.1
    before["machine"] = before["machine"] | {"rows": 99}
    rules, planter, area = since(before, plan)
    assert "they were those of 2025-01-01" in rules
    assert planter == "Its planter is described otherwise."
    assert area.startswith("Zone 1: ")


def test_zones_that_are_drawn_otherwise_are_not_compared_one_by_one(plan):
    before = kept(plan)
    before["zones"].pop()
    assert since(before, plan) == ["It has 2 zones, and had 1: check every number."]
