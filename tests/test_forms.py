"""Each kind of value, what it is read as, and what is said of what it cannot be."""

import datetime

import pytest

from zoneplan.forms import (
    Key,
    Place,
    any_text,
    by_kind,
    checked,
    date,
    flag,
    many,
    measure,
    need,
    number,
    one_of,
    row,
    some_of,
    table,
    text,
    whole,
)
from zoneplan.plain_file import toml, toml_file
from zoneplan.units import quantity

BARE = "Write one without quotes or unit."
DAY = datetime.date(2026, 11, 20)


class Wrong(Exception):  # noqa: N818
    """What a caller has its faults raised as."""


def faults(form, value):
    problems = []
    form(value, Place(problems, "it", "."))
    return problems


READ = {
    "words on one line": (text, " a\n b ", "a b"),
    "text as it stands": (any_text, " ", " "),
    "a whole number is a number": (number(), 5, 5.0),
    "a limit is within": (number(0, 1), 1, 1.0),
    "a whole number": (whole(1, 8), 8, 8),
    "a quantity": (measure("length"), "2 in", 0.0508),
    "lift": (measure("force", -500, zero=True), "-20 N", -20.0),
    "a day": (date, DAY, DAY),
    "a day in JSON": (date, "2026-11-20", DAY),
    "true": (flag, True, True),
    "a word": (one_of("moisture", ["dry", "wet"]), "wet", "wet"),
    "a name that looks like a number": (one_of("notch", ["1", "2"]), 2, "2"),
    "a lone word": (some_of("moisture", ["dry", "wet"]), "wet", ("wet",)),
    "a list": (many(whole(0)), [3, 1], (3, 1)),
    "an empty list": (many(whole(0)), [], ()),
    "a row": (row("a place", number(), number()), [1, 2], (1.0, 2.0)),
    "what is left out": (table({"a": Key(whole(0), usual=7), "b": whole(0)}), {}, {"a": 7}),
    "another name": (table({"a": Key(whole(0), "a_n")}), {"a": 1}, {"a_n": 1}),
    "keys of others": (table({"a": whole(0)}, others=True), {"a": 1, "z": 0}, {"a": 1}),
    "one of two kinds": (
        by_kind("is", "thing", {"x": table({"a": whole(0)}), "y": table({})}),
        {"is": "x", "a": 1},
        {"a": 1},
    ),
}


@pytest.mark.parametrize(("form", "content", "value"), READ.values(), ids=READ)
def test_what_is_right_is_read(form, content, value):
    problems = []
    assert form(content, Place(problems)) == value
    assert problems == []


MOISTURE = one_of("moisture", ["dry", "moist", "wet"])
PART = table({"a": need(whole(1), "Write a = 1."), "b": whole(1)})
LIST = table({"a": Key(many(text, least=1), example='["one"]', usual=("one",))})
LIKE = 'Write it like this: a = ["one"]'
WRONG = {
    "no words": (text, " ", 'it: " " says nothing. Write words in quotes.'),
    "not text": (any_text, None, "it: nothing is not text in quotes."),
    "words for a number": (number(), "5", f'it: "5" is not a number here. {BARE}'),
    "true for a number": (number(), True, f"it: true is not a number here. {BARE}"),
    "nan": (number(), float("nan"), "it: nan is not a number here."),
    "endless": (number(), float("inf"), "it: inf is not a number here."),
    "too much": (number(0, 1), 100, "it: 100 is not a number from 0 to 1."),
    "nothing": (number(0, above=True), 0, "it: 0 is not a number above 0."),
    "half a thing": (whole(1), 1.5, "it: 1.5 is not a whole number, 1 or more."),
    "true for a count": (whole(0, 8), True, f"it: true is not a whole number from 0 to 8. {BARE}"),
    "no unit": (
        measure("speed"),
        5,
        "it: '5' is not a speed: write a number and one of m/s, mph, km/h.",
    ),
    "negative": (measure("force"), "-5 N", 'it: "-5 N" is negative. Give above 0.'),
    "negative where 0 may be": (
        measure("force", zero=True),
        "-5 N",
        'it: "-5 N" is negative. Give 0 or more.',
    ),
    "a force of 0": (measure("force"), "0 lb", 'it: "0 lb" is nothing. Give above 0.'),
    "a slip of the unit": (
        measure("length", 0.005, 0.15),
        "2 m",
        'it: "2 m" cannot be. It lies from 0.005 to 0.15 m.',
    ),
    "a day in words": (
        date,
        "20 November",
        'it: "20 November" is not a date. Write one like this: 2026-11-20.',
    ),
    "a time of day": (
        date,
        datetime.datetime(2026, 11, 20, 7, tzinfo=datetime.UTC),
        "it: 2026-11-20T07:00:00+00:00 is not a date. Write one like this: 2026-11-20.",
    ),
    "a day there is not": (
        date,
        "2026-13-45",
        'it: "2026-13-45" is not a date. Write one like this: 2026-11-20.',
    ),
    "a day of another kind": (
        date,
        5,
        "it: 5 is not a date. Write one like this: 2026-11-20.",
    ),
    "a word for a flag": (flag, "yes", 'it: "yes" is neither true nor false.'),
    "a near miss": (
        MOISTURE,
        "wett",
        'it: "wett" is not a moisture. Did you mean "wet"? Use dry, moist or wet.',
    ),
    "no near miss": (MOISTURE, "damp", 'it: "damp" is not a moisture. Use dry, moist or wet.'),
    "no word": (MOISTURE, ["dry"], "it: ['dry'] is not a moisture. Use dry, moist or wet."),
    "not a list": (LIST, {"a": "one"}, f'it.a: "one" is not a list. {LIKE}'),
    "an empty list": (LIST, {"a": []}, f"it.a: the list is empty. {LIKE}"),
    "too few": (many(text, least=2), ["one"], "it: fewer than 2 are there."),
    "an item": (many(whole(1)), [1, 0], "it, 2: 0 is not a whole number, 1 or more."),
    "half a row": (row("a place", number(), number()), [1], "it: [1] is not a place."),
    "an item of a row": (
        row("a place", number(), number(-90, 90)),
        [1, 99],
        "it, 2: 99 is not a number from -90 to 90.",
    ),
    "not a table": (PART, 5, "it: 5 is not a table. Write its keys in { }."),
    "a key missing": (PART, {}, "it has no a. Write a = 1."),
    "an empty list for it": (PART, {"a": []}, "it has no a. Write a = 1."),
    "a key nobody reads": (
        table({"when": text}),
        {"wen": 1},
        'it.wen is not a key here. Did you mean "when"?',
    ),
    "a key far from any": (PART, {"a": 1, "zzz": 1}, "it.zzz is not a key here. Use a or b."),
    "in a table in a list": (
        many(PART),
        [{"a": 0}],
        "it, 1, a: 0 is not a whole number, 1 or more.",
    ),
    "called by name": (
        many(PART, called=lambda n, _: f'part "{n}"'),
        [{"a": 0}],
        'part "1", a: 0 is not a whole number, 1 or more.',
    ),
    "of no kind": (
        by_kind("is", "thing", {"x": PART, "y": PART}),
        {"a": 1},
        "it has no is. Use x or y.",
    ),
    "of another kind": (
        by_kind("is", "thing", {"x": PART, "y": PART}),
        {"is": "z"},
        'it.is: "z" is not a thing. Use x or y.',
    ),
}


@pytest.mark.parametrize(("form", "value", "words"), WRONG.values(), ids=WRONG)
def test_what_is_wrong_is_told_with_its_place(form, value, words):
    assert faults(form, value) == [words]


def test_nothing_is_made_of_a_table_with_a_fault():
    made = []
    form = table({"a": whole(1)}, make=lambda **values: made.append(values))
    form({"a": 0}, Place([]))
    assert made == []
    form({"a": 2}, Place([]))
    assert made == [{"a": 2}]


def test_what_is_between_values_is_looked_at_beside_faults_in_others():
    def check(read, place):
        assert read == {"a": 5, "b": 2, "c": None}
        place.key("b").fault("less than a.")

    form = table({"a": whole(0), "b": whole(0), "c": whole(0)}, check=check)
    assert faults(form, {"a": 5, "b": 2, "c": "?"}) == [
        'it.c: "?" is not a whole number, 0 or more. Write one without quotes or unit.',
        "it.b: less than a.",
    ]


def test_every_fault_is_raised_under_the_name_of_the_file():
    with pytest.raises(Wrong) as caught:
        checked(PART, {"a": 0, "c": 0}, "ours.toml", Wrong)
    assert str(caught.value).splitlines() == [
        "ours.toml has 2 faults:",
        "  a: 0 is not a whole number, 1 or more.",
        "  c is not a key here. Use a or b.",
    ]


def test_a_long_value_is_told_in_short():
    for value in ("x" * 100_000, ["x"] * 100_000, {"x": "y" * 100_000}):
        (fault,) = faults(MOISTURE, value)
        assert len(fault) < 200


def test_what_is_no_toml_is_told(tmp_path):
    assert toml("a.toml", "\ufeffa = 1\r\n".encode(), Wrong) == {"a": 1}
    for content, words in (
        (b"\xff\xfe", "a.toml is not UTF-8 text: invalid start byte at byte 0."),
        (b"a = 1\na = 2", "a.toml is not TOML: "),
        (b"a = " + b"[" * 5000, "a.toml is not TOML: "),
    ):
        with pytest.raises(Wrong, match=words):
            toml("a.toml", content, Wrong)
    with pytest.raises(Wrong, match="cannot be read: "):
        toml_file(tmp_path, Wrong)
    (tmp_path / "a.toml").write_bytes(b"a = 1")
    assert toml_file(tmp_path / "a.toml", Wrong) == {"a": 1}


@pytest.mark.parametrize("unit", ["lb", "N"])
def test_a_limit_that_is_told_may_be_given(unit: str) -> None:
    # WORKED: 50 N are 11.24 lb: told as 11 lb, that would be refused with its own words.
    reader = measure("force", 50.0, 10_000.0)
    for end in reader.limits(unit).removesuffix(f" {unit}").split(" to "):
        amount = quantity(f"{end.replace(',', '')} {unit}", "force")
        assert reader.least <= amount <= reader.most
