"""A plan written by any zoneplan that was ever out is read by this one, for ever.

Each file in `data` holds what the zoneplan of its day wrote into one folder, without the sheets,
and is never written again. A new form of plan.json or manifest.json adds a file.
"""

import json
import zipfile
from hashlib import sha256
from pathlib import Path

import pytest

from zoneplan.demo import demo_field, plan_demo
from zoneplan.export import document, manifest
from zoneplan.export.check import check_bundle
from zoneplan.export.document import SCHEMA, is_earlier, plan_bytes, read_document
from zoneplan.export.manifest import MANIFEST, read_manifest
from zoneplan.export.schema import UnknownFormError, brought_up, number_of, strict_json
from zoneplan.store import archive

DATA = Path(__file__).parent / "data"
FROZEN = sorted(DATA.glob("zoneplan-plan-*.zip"))
SHEETS = {"summary.pdf", "cab.pdf", "agronomist.pdf", "field.html", "zones.gpkg"}


@pytest.fixture(params=FROZEN, ids=[case.stem for case in FROZEN])
def folder(request, tmp_path):
    with zipfile.ZipFile(request.param) as archive:
        archive.extractall(tmp_path / "plan")
    return tmp_path / "plan"


@pytest.mark.parametrize("newest", [SCHEMA, archive.SCHEMA])
def test_there_is_a_frozen_file_of_every_form(newest):
    """The newest is frozen when it is released, at the latest when the next begins."""
    kind, _, today = newest.partition("/")
    values = {path.name for path in Path(__file__).parents[1].glob(f"*/data/{kind}-*.zip")}
    assert values >= {f"{kind}-{number}.zip" for number in range(1, int(today))}
    assert values <= {f"{kind}-{number}.zip" for number in range(1, int(today) + 1)}
    assert values


# The first forms as they were written; they are never changed.
DIGESTS = {
    "export/data/zoneplan-plan-1.zip": "778279e89766e4e30d7fc864d833c7d4",
    "store/data/zoneplan-work-1.zip": "51edc776bdebaf737b9c4e9fcf57e01f",
}


@pytest.mark.parametrize("name", DIGESTS)
def test_what_is_frozen_stays_as_it_was(name):
    content = (Path(__file__).parents[1] / name).read_bytes()
    assert sha256(content).hexdigest()[:32] == DIGESTS[name]


@pytest.mark.parametrize("of", [document, manifest, archive])
def test_every_earlier_form_has_a_lift(of):
    newest = getattr(of, "_SCHEMA", None) or of.SCHEMA
    assert len(of._LIFTS) == int(newest.rpartition("/")[2]) - 1


def test_a_frozen_plan_is_read_and_checked(folder):
    result = read_document((folder / "plan.json").read_bytes())
    assert result["schema"] == SCHEMA
    assert result["field"]["name"] == "Level eighty"
    assert len(result["zones"]) == 11
    assert result["zones"][0]["name"] == "Knoll"
    assert result["zones"][0]["moistures"]["moist"]["margin_n"] == 556.0277
    assert read_manifest((folder / MANIFEST).read_bytes()).options.all_moistures
    faults = check_bundle(folder)
    assert sorted(faults) == sorted(f"{sheet} is missing" for sheet in SHEETS)
    (folder / "zones.csv").write_bytes(b"")
    assert any(each.startswith("zones.csv was altered") for each in check_bundle(folder))


# ---- forms -------------------------------------------------------------------------------------


def test_a_newer_form_is_refused_in_words(folder):
    newer = strict_json((folder / "plan.json").read_bytes()) | {"schema": "zoneplan-plan/99"}
    with pytest.raises(UnknownFormError, match=r"in the form zoneplan-plan/99.*Install the newer"):
        read_document(json.dumps(newer).encode())
    (folder / "plan.json").write_text(json.dumps(newer))
    assert "it is in the form zoneplan-plan/99" in check_bundle(folder)[-1]
    result = json.loads((folder / MANIFEST).read_bytes()) | {"schema": "zoneplan-manifest/7"}
    (folder / MANIFEST).write_text(json.dumps(result))
    (fault,) = check_bundle(folder)
    assert fault.startswith(
        "manifest.json cannot be read, so nothing can be checked: it is in the form "
        "zoneplan-manifest/7, written by zoneplan 0.1.0; this zoneplan"
    )


def test_an_earlier_form_is_lifted_step_by_step(monkeypatch):
    lifts = (
        lambda each: each | {"two": [*each["one"], 2]},
        lambda each: each | {"three": each["two"]},
    )
    for number, result in ((1, {"one": [1]}), (2, {"two": [1, 2]}), (3, {"three": [1, 2]})):
        up = brought_up({"schema": f"x/{number}", **result}, "x/3", lifts)
        assert up["schema"] == "x/3"
        assert up["three"] == [1, 2]
    with pytest.raises(UnknownFormError):
        brought_up({"schema": "x/4"}, "x/3", lifts)
    with pytest.raises(UnknownFormError, match=r"it is damaged: its form, x/1, .* 'one'"):
        brought_up({"schema": "x/1"}, "x/3", lifts)
    monkeypatch.setattr(document, "SCHEMA", "zoneplan-plan/2")
    monkeypatch.setattr(document, "_LIFTS", lifts[:1])
    assert is_earlier(b'{"schema": "zoneplan-plan/1", "notices": []}')
    assert not is_earlier(b'{"schema": "zoneplan-plan/2", "notices": []}')


def test_todays_form_is_not_an_earlier_one():
    assert not is_earlier(plan_bytes(plan_demo(demo_field("level"))))


@pytest.mark.parametrize(
    "form", ["x/0", "x/01", "x/", "x", "x/-1", "x/1.5", "x/²", "y/1", "", None, 1, ["x/1"], "X/1"]
)
def test_what_is_no_form_of_ours_is_told(form):
    with pytest.raises(UnknownFormError, match="does not begin as ours do, with x/3"):
        number_of({"schema": form}, "x/3")


def test_a_form_is_told_in_short():
    with pytest.raises(UnknownFormError) as caught:
        number_of({"schema": "x/" + "9" * 10_000, "zoneplan": "9" * 10_000}, "x/3")
    assert len(str(caught.value)) < 400


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b'{"a": 1, "a": 2}', "a name stands twice"),
        (b'{"a": NaN}', "NaN is no number"),
        (b'{"a": 1e999}', "1e999 is no number"),
        (b"[" * 100_000, "it goes too deep"),
        (b"[]", "it holds no parts that are named"),
        (b'{"a": ' + b"9" * 6000 + b"}", "digits"),
    ],
)
def test_json_that_we_never_write_is_refused(content, words):
    with pytest.raises(ValueError, match=words):
        strict_json(content)


def test_a_document_far_too_big_is_not_read(monkeypatch, folder):
    monkeypatch.setattr(document, "_MOST_MB", 0.001)
    with pytest.raises(ValueError, match="bigger than any that we write"):
        read_document((folder / "plan.json").read_bytes())
