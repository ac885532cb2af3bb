"""Only a regular file is read, and no more of it than was agreed."""

import os

import pytest

from zoneplan.errors import LayerError, MachineError
from zoneplan.plain_file import check_regular, files_in, head_of, read_plain


@pytest.fixture
def pipe(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    return tmp_path / "pipe"


def test_a_file_and_a_link_to_it_are_read(tmp_path):
    (tmp_path / "a").write_bytes(b"soil")
    (tmp_path / "b").symlink_to(tmp_path / "a")
    assert read_plain(tmp_path / "b") == b"soil"
    assert head_of(tmp_path / "b", 2) == b"so"
    assert check_regular(tmp_path / "b") == 4


@pytest.mark.parametrize("read", [read_plain, check_regular, lambda path: head_of(path, 9)])
def test_what_is_no_file_is_refused_at_once(tmp_path, pipe, read):
    (tmp_path / "link").symlink_to(pipe)
    (tmp_path / "device").symlink_to("/dev/zero")
    (tmp_path / "loop").symlink_to(tmp_path / "loop")
    for name, words in {
        "pipe": "it is a pipe, not a file",
        "link": "it is a pipe, not a file",
        "device": "it is a device, not a file",
        ".": "it is a folder, not a file",
        "loop": "levels of symbolic links",
        "gone": "There is no file",
        "a\x00b": r"There is no file .*a\\x00b",
        "n" * 300: "File name too long",
    }.items():
        with pytest.raises(LayerError, match=words):
            read(tmp_path / name)


def test_a_file_that_is_too_big_is_not_read(tmp_path):
    with (tmp_path / "a").open("wb") as file:
        file.truncate(2 * 10**12)  # which holds nothing, and takes no room
    with pytest.raises(MachineError, match=r"is 2,000,000.0 MB; we read 1 MB"):
        read_plain(tmp_path / "a", 1, MachineError)


def test_a_folder_is_listed_without_pipes_and_within_bounds(tmp_path, pipe, monkeypatch):
    (tmp_path / "state.gdb").mkdir()
    (tmp_path / "state.gdb" / "a.gdbtable").touch()
    (tmp_path / "deep").mkdir()
    assert pipe.exists()
    (tmp_path / "deep" / "b.shp").touch()
    (tmp_path / "deep" / "round").symlink_to(tmp_path)
    assert files_in(tmp_path) == [tmp_path / "deep" / "b.shp", tmp_path / "state.gdb"]
    monkeypatch.setattr("zoneplan.plain_file.MOST_FILES", 1)
    with pytest.raises(LayerError, match="holds more than 1 files"):
        files_in(tmp_path)
