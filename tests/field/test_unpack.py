"""A zip lies unpacked for who comes next, as long as it is the one that was used last."""

import multiprocessing
import os
from pathlib import Path
from zipfile import ZipFile

from zoneplan.field.unpack import unpacked


def write_zip(path: Path, text: str) -> Path:
    with ZipFile(path, "w") as archive:
        archive.writestr("field/A.TXT", text)
    return path


def test_the_zip_that_was_used_last_is_not_unpacked_again(tmp_path):
    one, other = write_zip(tmp_path / "one.zip", "one"), write_zip(tmp_path / "other.zip", "other")
    with unpacked(one) as first, unpacked(one) as again:
        assert (first / "field/A.txt").read_text() == "one"
    with unpacked(one) as later:
        assert later == first
        with unpacked(other) as another:
            assert (another / "field/A.txt").read_text() == "other"
        assert (later / "field/A.txt").exists()  # somebody uses it still
    assert sum(map(os.path.exists, {first, again, another})) == 1


def test_a_zip_that_was_written_anew_is_unpacked_anew(tmp_path):
    path = write_zip(tmp_path / "one.zip", "one")
    with unpacked(path) as folder:
        pass
    write_zip(path, "longer")
    with unpacked(path) as other:
        assert (other / "field/A.txt").read_text() == "longer"
    assert not folder.exists()


def test_what_somebody_cleared_away_is_unpacked_again(tmp_path):
    path = write_zip(tmp_path / "one.zip", "one")
    with unpacked(path) as folder:
        pass
    (folder / "field/A.txt").unlink()
    with unpacked(path) as other:
        assert (other / "field/A.txt").read_text() == "one"


def _use(path: Path) -> None:
    with unpacked(path):
        pass


def test_a_forked_process_leaves_alone_what_its_parent_unpacked(tmp_path):
    one, other = write_zip(tmp_path / "one.zip", "one"), write_zip(tmp_path / "other.zip", "other")
    with unpacked(one) as folder:
        pass
    child = multiprocessing.get_context("fork").Process(target=_use, args=(other,))
    child.start()
    child.join()
    assert child.exitcode == 0
    assert (folder / "field/A.txt").exists()
