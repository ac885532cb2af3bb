"""What services answered, kept by question and date."""

import os
from datetime import UTC, datetime

import pytest

from zoneplan.field.service.cache import Cache, cache_folder

DAY = datetime(2026, 11, 28, 12, tzinfo=UTC)


def test_an_answer_comes_back_with_its_day(cache):
    assert cache.get("question") is None
    cache.put("question", "soils", b"answer", DAY)
    entry = cache.get("question")
    assert (entry.what, entry.asked, entry.content) == ("soils", DAY, b"answer")
    assert cache.get("another") is None


def test_a_question_is_not_readable_from_the_names_of_files(cache):
    cache.put("map|-93.5 42.0", "soils", b"answer", DAY)
    assert all(len(path.stem) == 64 for path in cache.folder.iterdir())


@pytest.mark.parametrize("damage", [b"", b"{", b"{}\nanswer", None])
def test_what_is_damaged_is_no_entry(cache, damage):
    cache.put("question", "soils", b"answer", DAY)
    (path,) = cache.folder.iterdir()
    path.write_bytes(path.read_bytes()[:-1] if damage is None else damage)
    assert cache.get("question") is None
    assert cache.entries() == []
    cache.put("question", "soils", b"answer", DAY)
    assert cache.get("question").content == b"answer"


def test_it_is_bounded_and_what_was_used_longest_ago_goes_first(tmp_path):
    cache = Cache(tmp_path, most_mb=0.003)
    for number in range(3):
        cache.put(str(number), "soils", bytes(800), DAY)
        (path,) = (
            path for path in tmp_path.iterdir() if path.stem == cache._path(str(number)).stem
        )
        os.utime(path, (number, number))
    os.utime(cache._path("0"), (99, 99))  # it was used since
    cache.put("3", "soils", bytes(800), DAY)
    cache.put("4", "soils", bytes(800), DAY)
    left = {number for number in range(5) if cache.get(str(number))}
    assert 4 in left
    assert 1 not in left
    assert sum(path.stat().st_size for path in tmp_path.iterdir()) <= 3000


def test_what_is_bigger_than_all_of_it_is_not_kept(tmp_path):
    cache = Cache(tmp_path, most_mb=0.001)
    cache.put("question", "soils", bytes(2000), DAY)
    assert cache.get("question") is None


def test_emptying_takes_our_files_and_no_others(cache):
    cache.put("question", "soils", b"answer", DAY)
    (cache.folder / "notes.txt").write_text("mine")
    (cache.folder / "mine.answer").write_text("mine")
    count, size = cache.empty()
    assert (count, size > 6) == (1, True)
    assert sorted(path.name for path in cache.folder.iterdir()) == ["mine.answer", "notes.txt"]


def test_a_folder_that_takes_nothing_stops_nobody(tmp_path):
    (tmp_path / "file").write_text("")
    cache = Cache(tmp_path / "file" / "cache")
    cache.put("question", "soils", b"answer", DAY)
    assert cache.get("question") is None
    assert cache.entries() == []
    assert cache.empty() == (0, 0)


def test_others_may_not_look_into_it(cache):
    cache.put("question", "soils", b"answer", DAY)
    assert cache.folder.stat().st_mode & 0o077 == 0


def test_the_environment_says_where_it_is(monkeypatch, tmp_path):
    monkeypatch.setenv("ZONEPLAN_CACHE", str(tmp_path / "here"))
    assert cache_folder() == tmp_path / "here"
    monkeypatch.delenv("ZONEPLAN_CACHE")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    if os.name == "posix" and os.uname().sysname == "Linux":
        assert cache_folder() == tmp_path / "zoneplan"
