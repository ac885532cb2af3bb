"""A book is backed up, restored, moved to a server and back, and written out as plain files."""

import csv
import json
import shutil
import sqlite3

import pyogrio
import pytest
import sqlalchemy as sa

from tests.book.county import CREEK, THREE, book_of, county, square
from tests.helpers.full_disk import full_disk
from zoneplan.book import copies, opening
from zoneplan.book.copies import backup, export, restore
from zoneplan.book.fields import State, fields
from zoneplan.book.history import history, record
from zoneplan.book.opening import new_book, open_book
from zoneplan.book.planning import plan_all
from zoneplan.book.plans import record_state
from zoneplan.book.soil import add_soil
from zoneplan.book.supply import add_planter, set_season
from zoneplan.book.tables import TABLES
from zoneplan.errors import BookError


@pytest.fixture
def book(address, tmp_path):
    """Three fields with their plans, one of them agreed."""
    with book_of(address, tmp_path, *THREE) as opened:
        plan_all(opened, who="Ann", workers=0)
        record_state(opened, "South", State.AGREED, who="Ann")
        yield opened


def rows_of(book):
    """Every row of every table, in order."""
    with book.read() as connection:
        return {
            name: sorted(map(repr, connection.execute(sa.select(table)).all()))
            for name, table in TABLES.tables.items()
        }


def test_a_backup_is_a_book_that_holds_the_same(book, tmp_path):
    copy = tmp_path / "monday.book"
    backup(book, copy)
    assert sorted(path.name for path in tmp_path.glob("monday*")) == ["monday.book"]
    with open_book(copy) as saved:
        assert rows_of(saved) == rows_of(book)
        assert fields(saved) == fields(book)
    with pytest.raises(BookError, match="there already"):
        backup(book, copy)


def test_a_backup_is_restored_and_worked_on(book, tmp_path):
    backup(book, tmp_path / "monday.book")
    restore(tmp_path / "monday.book", str(tmp_path / "again.book"))
    with open_book(tmp_path / "again.book") as again:
        assert rows_of(again) == rows_of(book)
        record_state(again, "South", State.SENT, who="Ann")
        assert plan_all(again, who="Ann", workers=0).up_to_date == 3
    with pytest.raises(BookError, match="already"):
        restore(tmp_path / "monday.book", str(tmp_path / "again.book"))


@pytest.mark.postgres
def test_a_book_moves_to_a_server_and_back(address, tmp_path):
    if not address.startswith("postgresql"):
        return  # the file is where it comes from
    with book_of(str(tmp_path / "season.book"), tmp_path, *THREE) as book:
        plan_all(book, who="Ann", workers=0)
        before = rows_of(book)
        restore(tmp_path / "season.book", address)
        with open_book(address) as moved:
            assert rows_of(moved) == before
            add_planter(moved, "springs", who="Ann", grower="Bob")  # new rows get new numbers
            plan_all(moved, who="Ann", workers=0)
            backup(moved, tmp_path / "back.book")
            with open_book(tmp_path / "back.book") as back:
                assert rows_of(back) == rows_of(moved)


def test_all_of_it_can_be_had_as_plain_files(book, tmp_path):
    out = tmp_path / "files"
    names = export(book, out, who="Ann")
    assert "fields.gpkg" in names
    listed = pyogrio.read_dataframe(out / "fields.gpkg", layer="fields")
    assert sorted(listed["field"]) == ["North", "North", "South"]
    assert listed.area_ha.sum() == pytest.approx(sum(field.area_ha for field in fields(book)))
    zones = pyogrio.read_dataframe(out / "fields.gpkg", layer="zones")
    assert len(zones) == sum(field.totals["zones"] for field in fields(book))
    # WORKED. The zones of a field are all of its ground.
    assert zones.area_ha.sum() == pytest.approx(listed.area_ha.sum(), rel=1e-6)
    plan = json.loads((out / "growers/Bob/Hill/North/plan.json").read_text("utf-8"))
    assert plan["field"]["name"] == "North"
    assert (out / "planters/all, machine, 1.toml").read_bytes() == CREEK.machine.read_bytes()
    shapes = {path.name for path in (out / "soils/1/survey/spatial").iterdir()}
    assert shapes == {path.name for path in (CREEK.survey / "spatial").iterdir()}
    with (out / "history.csv").open(encoding="utf-8", newline="") as file:
        did = [row["did"] for row in csv.DictReader(file)]
    assert did == [event.did for event in history(book)][:-1]
    assert history(book)[-1].did == "exported"
    with pytest.raises(BookError, match="there already"):
        export(book, out, who="Ann")


def test_files_hold_soil_of_any_name_and_the_zones_of_this_season_alone(tmp_path):
    with book_of(str(tmp_path / "season.book"), tmp_path, *THREE, soil=False) as book:
        soil = tmp_path / "soil [2026].geojson"
        add_soil(book, county(soil, ("loam", square(0, side=1)), columns=("texture",)), who="Ann")
        plan_all(book, who="Ann", workers=0)
        set_season(book, "2028", who="Ann")
        plan_all(book, who="Ann", workers=0, grower="Bob")
        export(book, tmp_path / "files", who="Ann")
    (copy,) = (tmp_path / "files" / "soils" / "1").iterdir()
    assert copy.read_bytes() == soil.read_bytes()
    zones = pyogrio.read_dataframe(tmp_path / "files" / "fields.gpkg", layer="zones")
    assert {*zones.grower} == {"Bob"}


def test_a_backup_may_lie_on_a_network_share_and_a_book_may_not(book, tmp_path, monkeypatch):
    share, mounts = tmp_path / "share", tmp_path / "mounts"
    share.mkdir()
    mounts.write_text(f"/dev/sda1 / ext4 rw 0 0\nserver:/x {share} nfs4 rw 0 0\n")
    monkeypatch.setattr(opening, "_MOUNTS", mounts)
    backup(book, share / "monday.book")
    assert [path.name for path in share.iterdir()] == ["monday.book"]
    with pytest.raises(BookError, match=r"monday\.book lies on a network share"):
        open_book(share / "monday.book")
    shutil.copy(share / "monday.book", tmp_path / "here.book")
    with pytest.raises(BookError, match=r"again\.book lies on a network share"):
        restore(tmp_path / "here.book", str(share / "again.book"))
    with open_book(tmp_path / "here.book") as copy:
        assert rows_of(copy) == rows_of(book)


def test_any_sqlite_tool_reads_a_book(tmp_path):
    path = tmp_path / "season.book"
    book_of(str(path), tmp_path, *THREE).close()
    asked = (
        "SELECT growers.name, farms.name, fields.name FROM fields "
        "JOIN farms ON farms.id = farm_id JOIN growers ON growers.id = grower_id ORDER BY fields.id"
    )
    with sqlite3.connect(path) as plain:
        assert plain.execute(asked).fetchall() == [row[:3] for row in THREE]
        assert plain.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    plain.close()


def test_a_backup_that_lacks_a_plan_is_no_backup(tmp_path, monkeypatch):
    with new_book(tmp_path / "season.book") as book:
        monkeypatch.setattr(copies, "_latest_plan", lambda one: 1 if one is book else 0)
        with pytest.raises(BookError, match="could not be written whole"):
            backup(book, tmp_path / "monday.book")
    assert [path.name for path in tmp_path.iterdir()] == ["season.book"]


def test_a_backup_where_nothing_can_be_is_refused(tmp_path):
    with new_book(tmp_path / "season.book") as book:
        with pytest.raises(BookError, match="cannot be made"):
            backup(book, tmp_path / "none" / "copy.book")
        assert sorted(path.name for path in tmp_path.iterdir() if "zoneplan" in path.name) == []


def test_a_disk_that_fills_while_plain_files_are_written_is_told_and_nothing_is_left(
    tmp_path, address
):
    with book_of(address, tmp_path, *THREE) as book:
        with (
            full_disk(20_000),
            pytest.raises(BookError, match=r"files cannot be written: [\s\S]*Make room there"),
        ):
            export(book, tmp_path / "files", who="Ann")
        assert not (tmp_path / "files").exists()
        assert not [path.name for path in tmp_path.iterdir() if path.name.startswith(".zoneplan")]
        assert history(book)[-1].did != "exported"


@pytest.mark.postgres
@pytest.mark.parametrize("address", ["server"], indirect=True)
def test_a_backup_that_finds_no_room_is_told_by_its_own_name(tmp_path, address):
    with book_of(address, tmp_path, *THREE) as book:
        with book.write() as connection:
            record(connection, "noted", who="Ann", note="long " * 100_000)
        with full_disk(300_000), pytest.raises(BookError, match=r"monday\.book cannot be "):
            backup(book, tmp_path / "monday.book")
    assert not (tmp_path / "monday.book").exists()
