import json
from hashlib import sha256

import pytest

from zoneplan.export.document import SCHEMA
from zoneplan.export.manifest import Options, altered, manifest_bytes, read_manifest

FILES = {"plan.json": b"{}", "TASKDATA/TASKDATA.XML": b"abc"}
# PUBLISHED: NIST, SHA-256 example "abc" (FIPS 180-4).
ABC = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
ASKED = Options(moisture="wet", all_moistures=True, taskset_version=None)


def written():
    return json.loads(manifest_bytes(FILES, ASKED, ["Springs are moved by hand."], "Weigh it"))


def test_a_manifest_tells_every_file_and_what_was_asked():
    text = written()
    assert text["schema"] == "zoneplan-manifest/1"
    assert text["plan_schema"] == SCHEMA
    assert text["files"][0] == {"name": "TASKDATA/TASKDATA.XML", "bytes": 3, "sha256": ABC}
    assert text["files"][1]["sha256"] == sha256(b"{}").hexdigest()
    assert text["taskset_notes"] == ["Springs are moved by hand."]
    assert text["planter"] == "Weigh it"
    assert text["options"]["moisture"] == "wet"


def test_a_manifest_comes_back():
    manifest = read_manifest(manifest_bytes(FILES, ASKED, []))
    assert manifest.options == ASKED
    assert manifest.digests["TASKDATA/TASKDATA.XML"] == (3, ABC)


def test_options_say_whose_targets_the_files_carry():
    assert Options(moisture="wet").moistures == ("wet",)
    assert Options().moistures == ("moist",)
    assert ASKED.moistures == ("dry", "moist", "wet")


def test_altered_files_are_told_with_their_sizes():
    manifest = read_manifest(manifest_bytes(FILES, ASKED, []))
    assert altered(manifest, FILES) == []
    assert altered(manifest, {}) == []  # a missing one is not altered
    assert altered(manifest, {"plan.json": b"[]", "TASKDATA/TASKDATA.XML": b"abcd"}) == [
        "TASKDATA/TASKDATA.XML was altered: 4 bytes, not 3",
        "plan.json was altered: as long as before",
    ]


@pytest.mark.parametrize(
    "name", ["../plan.json", "/etc/hosts", "a/../../b.c", "C:plan.json", "a\\b.c", "", ".hidden"]
)
def test_a_name_that_leads_out_of_the_folder_is_refused(name):
    text = written()
    text["files"][0]["name"] = name
    with pytest.raises(ValueError, match=r"files, 1, name: .* is not a name that we give"):
        read_manifest(json.dumps(text).encode())


@pytest.mark.parametrize(
    ("key", "value"),
    [("moisture", "damp"), ("taskset_version", 2), ("paper", "a3")],
)
def test_options_that_nobody_knows_are_refused(key, value):
    text = written()
    text["options"][key] = value
    with pytest.raises(ValueError, match=rf"options\.{key}.* is not "):
        read_manifest(json.dumps(text).encode())


@pytest.mark.parametrize("raw", [b"", b"[", b"\xff"])
def test_what_is_no_json_is_refused(raw):
    with pytest.raises(ValueError, match=r"Expecting|decode"):
        read_manifest(raw)
