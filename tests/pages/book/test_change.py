"""A change that is previewed on the page is the change that a person means."""

from tests.book.county import CREEK, THREE, book_of
from zoneplan.book.inputs import supplies
from zoneplan.pages.book.change import _Change
from zoneplan.sources import Upload


def test_a_planter_whose_file_is_sent_is_planned_for_whichever_was(tmp_path):
    other = Upload("other.toml", CREEK.machine.read_bytes() + b"\n# another\n")
    change = _Change("planter", other, None)
    address = str(tmp_path / "season.book")
    with book_of(address, tmp_path, *THREE, soil=False) as book, book.write() as connection:
        assert supplies(connection).asked["all"]["planter"] == "machine"
        change.make(connection, change.scope(connection), "Ann")
        assert supplies(connection).asked["all"]["planter"] == "other"
