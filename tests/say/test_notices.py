"""Notices in words: every code has a template, merging goes by code and never by words."""

import pytest

from zoneplan.notices import CODES, Notice, as_dict, notice, notice_from
from zoneplan.say.notices import each_once, words
from zoneplan.say.trade import TRADE
from zoneplan.terms import Moisture


def test_every_code_has_words_and_no_words_are_left_over():
    assert set(TRADE) == set(CODES)


def test_a_notice_carries_what_its_code_carries():
    with pytest.raises(ValueError, match="carries"):
        notice("takes-lift", part=0.5)


def test_a_notice_is_the_same_after_a_file():
    told = notice("own-position", zone=2, moisture=Moisture.DRY, position_n=889.6)
    assert notice_from(as_dict(told)) == told


@pytest.mark.parametrize(
    ("units", "said"),
    [("us", "200 lb"), ("si", "890 N"), ("both", "200 lb (890 N)")],
)
def test_one_unit_system_is_told_or_both(units: str, said: str):
    told = notice("own-position", position_n=889.6)
    assert words(told, units) == f"On its own this zone would take the {said} position."


def float_at(zone: int, moisture: Moisture) -> Notice:
    return notice("openers-float", zone=zone, moisture=moisture)


def test_notices_alike_are_told_once_with_where_and_when():
    told = each_once(
        [float_at(1, Moisture.DRY), float_at(2, Moisture.DRY), float_at(2, Moisture.MOIST)]
    )
    assert [place for place, _ in told] == ["Zone 1, dry; zone 2, dry and moist"]


def test_figures_that_differ_are_told_as_a_span_of_each():
    moist = {"moisture": Moisture.MOIST, "most_n": 1779.3}
    told = each_once(
        [
            notice("needs-more-downforce", zone=1, needed_n=1900.0, **moist),
            notice("needs-more-downforce", zone=4, needed_n=2224.1, **moist),
        ],
        "us",
    )
    assert told == [
        (
            "Zones 1, 4, moist",
            "Out of reach: needs 427 to 500 lb down, and the machine gives no more than "
            "400 lb down.",
        )
    ]
