"""What a person changed, in every file that leaves the building: names and overrides."""

import csv
import io
import json
import re
from dataclasses import replace

import pytest
from jsonschema_rs import ValidationError

from tests.export.plans import SETTINGS, small_plan
from tests.export.sheets.test_cab_and_agronomist import words
from tests.export.test_load_plan import again, same_but_for_shapes_and_rules
from tests.export.test_webpage import HOSTILE, Page
from zoneplan.export.bundle import bundle_files, write_plan
from zoneplan.export.check import check_bundle
from zoneplan.export.document import plan_bytes, plan_document, validate
from zoneplan.export.manifest import Options
from zoneplan.export.readback import differences, restored_plan
from zoneplan.export.readers import read_csv
from zoneplan.export.sheets.printed import agronomist_pdf, cab_pdf, summary_pdf
from zoneplan.export.table import columns, row, setting_rows
from zoneplan.export.taskset_words import taskset_notes, zone_designator
from zoneplan.export.webpage import webpage_html
from zoneplan.export.zone_files import csv_bytes
from zoneplan.notices import notice
from zoneplan.rules.rule import Reason
from zoneplan.say import landowner, landowner_zones
from zoneplan.terms import Moisture

SOFTER = "Softer than the map says, ask Ö. Ñandú."
# WORKED: the first zone is planned for 500 + 44 = 544 N when moist, 122 lb; 600 N are 56 more.
MARGIN = Reason(
    "override", "override", 56.0, SOFTER, "AB on 2026-11-25, in place of 122 lb (544 N)", "judged"
)
# WORKED: from the middle notch, 350 N, to the firm one, 550 N
NOTCH = Reason(
    "override", "override", 200.0, "Clods.", "CD on 2026-11-26, in place of notch middle", "judged"
)
LONG = f'\x07 \u202e {HOSTILE} =1+1 Ёлки "{{x}}" #panic("x") *b* ' * 2  # about 200 letters


def by_hand(name="Low ground", margin=MARGIN, notch=NOTCH):
    """The small plan, whose first zone a person named, and changed when moist."""
    first, *others = SETTINGS
    before = first.moistures["moist"]
    moist = replace(
        before,
        margin_n=before.margin_n + margin.adds,
        reasons=(*before.reasons, margin),
        closing_notch="firm",
        closing_load_n=550.0,
        closing_reasons=(*before.closing_reasons, notch),
    )
    zone = replace(first.zone, name=name)
    first = replace(first, zone=zone, moistures={**first.moistures, "moist": moist})
    stands = notice(
        "override-stands",
        zone=1,
        moisture=Moisture.MOIST,
        decides="margin",
        margin_n=600.0,
        notch=None,
        source=margin.source,
        why=SOFTER,
    )
    return replace(small_plan(), settings=(first, *others), notices=(stands,))


@pytest.fixture(scope="module")
def hostile():
    return by_hand(
        LONG,
        replace(MARGIN, why=LONG, source=f"<b>&\"' on 2026-11-25, in place of {LONG}"),
        replace(NOTCH, why=f"+1 {LONG}"),
    )


# ---- every file ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "options",
    [Options(), Options("wet", True, "a4", "si", taskset_version=3, taskset_grid=True)],
    ids=["us", "si"],
)
def test_every_file_says_it_and_is_read_back(options):
    plan = by_hand()
    files = bundle_files(plan, options)
    assert differences(files, plan, options) == []
    back = restored_plan(files)
    assert [setting.zone.name for setting in back.settings] == ["Low ground", "", ""]
    assert back.settings[0].moistures["moist"].by_hand == MARGIN
    # A file that keeps silent about it is found out.
    silent = bundle_files(small_plan(), options)
    values = {fault.partition(":")[0] for fault in differences(silent, plan, options)}
    assert {"plan.json", "zones.geojson", "zones.zip", "zones.gpkg", "zones.csv"} <= values


def test_whatever_a_name_and_a_reason_hold_nothing_breaks(hostile, tmp_path):
    write_plan(hostile, tmp_path, Options(all_moistures=True))
    assert check_bundle(tmp_path) == []


def test_a_plan_with_changes_comes_back():
    plan = by_hand()
    assert same_but_for_shapes_and_rules(again(plan), plan) == plan


# ---- the document and the tables ----------------------------------------------------------------


def test_the_document_tells_the_name_and_the_link():
    zone = plan_document(by_hand())["zones"][0]
    assert zone["name"] == "Low ground"
    chain = zone["moistures"]["moist"]["reasons"]
    assert chain[-1] == {
        "rule": "override",
        "kind": "override",
        "adds_n": 56.0,
        "why": SOFTER,
        "source": "AB on 2026-11-25, in place of 122 lb (544 N)",
        "confidence": "judged",
        "share": None,
        "factor": None,
    }
    assert sum(link["adds_n"] for link in chain) == zone["moistures"]["moist"]["margin_n"] == 600.0


def test_the_schema_asks_for_a_name():
    document = json.loads(plan_bytes(by_hand()))
    del document["zones"][0]["name"]
    with pytest.raises(ValidationError, match="name"):
        validate(document)


def test_the_tables_tell_name_chain_and_override():
    plan = by_hand()
    result = row(plan, plan.settings[0], tuple(Moisture))
    assert result["name"] == "Low ground"
    assert result["moist_why"] == "base-ground +500, residue +44, override +56 = 600 N"
    assert result["moist_override"] == (
        f"margin: AB on 2026-11-25, in place of 122 lb (544 N): {SOFTER}; "
        "closing: CD on 2026-11-26, in place of notch middle: Clods."
    )
    assert result["dry_override"] == ""
    assert [setting_row["override"] != "" for setting_row in setting_rows(plan)] == [
        True,
        False,
        False,
    ]


@pytest.mark.parametrize("name", ["=1+1", "+1", "-1", "@x", "'=1+1", "plain"])
def test_no_spreadsheet_reckons_with_a_name(name):
    content = csv_bytes(by_hand(name))
    first, *_ = csv.DictReader(io.StringIO(content.decode("utf-8"), newline=""))
    assert first["name"] == (name if name == "plain" else f"'{name}")
    assert read_csv(content, columns())[0].values["name"] == name


# ---- paper --------------------------------------------------------------------------------------


@pytest.mark.parametrize("sheet", [cab_pdf, summary_pdf, agronomist_pdf])
def test_every_sheet_calls_the_zone_by_its_name(sheet):
    assert "Low ground" in words(sheet(by_hand()))
    assert "Low ground" not in words(sheet(small_plan()))


@pytest.mark.parametrize("sheet", [cab_pdf, summary_pdf])
def test_a_changed_number_is_marked_and_the_mark_explained_in_a_line(sheet):
    # WORKED: 600 N / 4.44822 = 135 lb; the cab sheet has what that leaves
    text = words(sheet(by_hand()))
    assert "135 †" in text or re.search(r"to \d+( \*)? † ", text)
    assert "firm †" in text
    assert "†: a person" in text
    assert "†" not in words(sheet(small_plan()))


def test_the_agronomist_reads_who_when_why_and_what_was_replaced():
    text = words(agronomist_pdf(by_hand()))
    assert "override +13 (judged, AB on 2026-11-25, in place of 122 lb (544 N)) = 135 lb" in text
    assert "override +45 (judged, CD on 2026-11-26, in place of notch middle): notch firm" in text
    assert f"put in by {MARGIN.source}: {SOFTER}" in text


@pytest.mark.parametrize("sheet", [summary_pdf, agronomist_pdf])
def test_a_person_is_no_rule_and_no_source(sheet):
    rules_and_sources = words(sheet(by_hand())).partition("The rules")[2].partition("Notes")[0]
    assert "AB on 2026" not in rules_and_sources


def test_the_cab_sheet_keeps_to_a_page_and_zones_of_one_name_apart(hostile):
    assert words(cab_pdf(hostile)).count("Page 1 of 1") == 1
    twins = replace(SETTINGS[1], zone=replace(SETTINGS[1].zone, id=4, name="Upper"))
    text = words(cab_pdf(replace(small_plan(), settings=(*SETTINGS, twins))))
    assert "Upper" in text


# ---- the landowner's page -----------------------------------------------------------------------


def test_the_landowner_reads_it_in_plain_words():
    plan = by_hand()
    page = Page(webpage_html(plan))
    assert "Zone 1, Low ground: loam" in page.text()
    assert page.text().count(landowner.BY_HAND) > 3
    reasons = landowner_zones.reasons(plan, plan.settings[0], "us")
    text = f"The number was changed by a person ({MARGIN.source}): {SOFTER} That adds 13 lb when"
    assert any(part.startswith(text) for part in reasons)
    assert reasons[-1] == (
        f"How firmly the furrow is closed when moist was changed by a person ({NOTCH.source}): "
        "Clods."
    )


def test_more_than_the_soil_bears_is_told_in_plain_words():
    plan = by_hand()
    first = plan.settings[0]
    # WORKED: 600 N = 135 lb, 489.3 N = 110 lb, 400 N = 90 lb
    outside = notice("own-number-outside", margin_n=600.0, least_n=400.0, most_n=489.3)
    moist = replace(first.moistures["moist"], notices=(outside,))
    first = replace(first, moistures={**first.moistures, "moist": moist})
    assert any(
        "135 lb" in each and "110 lb" in each for each in landowner_zones.watch(plan, first, "us")
    )


def test_no_name_and_no_reason_becomes_markup(hostile):
    before, after = (Page(webpage_html(each)) for each in (by_hand(), hostile))
    assert [tag for tag, _ in after.elements] == [tag for tag, _ in before.elements]
    assert not any(name.startswith("on") for _, result in after.elements for name in result)


# ---- the terminal -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "words"),
    [
        # WORKED: "1 downforce 125lb close firm" has 28 letters, so that 4 are left of 32.
        ("Low", "1 downforce 125lb close firm, Lo"),
        ("", "1 downforce 125lb close firm"),
        ("\x00\n ", "1 downforce 125lb close firm,"),
    ],
)
def test_a_name_takes_what_room_the_number_and_the_notch_leave(name, words):
    plan = by_hand(name)
    assert zone_designator(plan.settings[0], "moist", "downforce") == words


def test_a_zone_without_a_number_has_its_name():
    named = replace(SETTINGS[2], zone=replace(SETTINGS[2].zone, name="Pond"))
    assert zone_designator(named, "dry", "downforce") == "3 no data, no number, Pond"


def test_the_notes_of_the_task_set_tell_where_a_person_changed_something():
    [note] = [
        taskset_note
        for taskset_note in taskset_notes(by_hand(), "moist")
        if "a person" in taskset_note
    ]
    assert note.startswith("In zone 1 a person changed")
    assert not any("a person" in taskset_note for taskset_note in taskset_notes(by_hand(), "dry"))
