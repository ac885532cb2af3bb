"""What a server keeps for people who are away."""

import pytest

from zoneplan.pages.link import Bounds, Shelf

BOUNDS = Bounds(things=6, size=600, things_each=3, size_each=300, hours=72)


class Clock:
    hours = 0.0

    def __call__(self):
        return 3600 * self.hours


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def shelf(clock):
    return Shelf(BOUNDS, clock)


def there(shelf, keys):
    return "".join(key for key in keys if shelf.find(key))


def test_one_person_has_a_share_and_puts_away_the_oldest_of_it(shelf):
    for key in "abcde":
        assert shelf.keep(key, key, "ann", 10)
    assert there(shelf, "abcde") == "cde"
    assert shelf.keep("c", "c again", "ann", 10)  # it is the youngest now
    assert shelf.keep("f", "f", "ann", 10)
    assert there(shelf, "abcdef") == "cef"
    assert shelf.keep("g", "g", "ann", 285)
    assert there(shelf, "cefg") == "fg"


def test_strangers_empty_nothing_however_many_come(shelf):
    assert shelf.keep("a", "ann's work", "ann", 100)
    keys = [shelf.keep(f"s{number}", "theirs", f"stranger {number}", 100) for number in range(1000)]
    assert keys == [True] * 5 + [False] * 995
    assert shelf.find("a") == "ann's work"
    assert shelf.keep("a", "ann's work, changed", "ann", 100)
    assert shelf.find("a") == "ann's work, changed"


def test_one_stranger_who_comes_again_and_again_pushes_out_only_their_own(shelf):
    assert shelf.keep("a", "ann's work", "ann", 100)
    assert all(shelf.keep(f"s{number}", "theirs", "stranger", 290) for number in range(100))
    assert shelf.find("a")
    assert shelf.find("s99")
    assert shelf.find("s98") is None


def test_what_is_too_big_for_a_share_is_not_kept_and_what_it_was_is_not_either(shelf):
    assert shelf.keep("a", "small", "ann", 10)
    assert not shelf.keep("a", "grown", "ann", 301)
    assert shelf.find("a") is None


def test_a_key_ends_by_itself_unless_its_work_goes_on(shelf, clock):
    shelf.keep("left", 1, "ann", 1)
    shelf.keep("used", 1, "ann", 1)
    clock.hours = 71
    shelf.keep("used", 1, "ann", 1)
    assert shelf.find("left")  # which does not make it stay
    clock.hours = 73
    assert there(shelf, ["left", "used"]) == "used"
    clock.hours = 144
    assert shelf.find("used") is None


def test_one_withdraws_ones_own_keys_and_no_others(shelf):
    for key, who in (("a", "ann"), ("b", "ann"), ("c", "bob")):
        shelf.keep(key, key, who, 1)
    shelf.withdraw(["a", "c", "none"], "ann")
    assert there(shelf, "abc") == "bc"
