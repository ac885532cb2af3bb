"""What needs a look: by which share of a field, and which reason comes first."""

from types import SimpleNamespace

import pytest

from zoneplan.book.look import by_need, needs_a_look

SOUND = {
    "planned": "moist",
    "uncovered_share": 0.0,
    "generic": False,
    "overrides": 0,
    "moistures": {
        moisture: {
            "right_chance": 0.8,
            "wait_share": 0.0,
            "blank_share": 0.0,
            "out_of_reach_share": 0.0,
            "outside_share": 0.0,
        }
        for moisture in ("dry", "moist", "wet")
    },
}


def field(fault=None, voided=None, moisture="moist", **changes):
    """A listed field whose plan comes to this."""
    of_plan = {name: value for name, value in changes.items() if name in SOUND}
    of_moisture = {name: value for name, value in changes.items() if name not in SOUND}
    moistures = {**SOUND["moistures"], moisture: SOUND["moistures"][moisture] | of_moisture}
    totals = SOUND | of_plan | {"moistures": moistures}
    return SimpleNamespace(fault=fault, voided=voided, totals=totals)


# WORKED: a twentieth of a field, a third that waits at any moisture, a chance of a half.
@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({}, []),
        ({"blank_share": 0.049}, []),
        ({"blank_share": 0.05}, ["no soil data"]),
        ({"uncovered_share": 0.05}, ["no soil data"]),
        ({"out_of_reach_share": 0.049, "outside_share": 0.049}, []),
        ({"out_of_reach_share": 0.05}, ["target out of reach"]),
        ({"outside_share": 0.05}, ["too light or too heavy"]),
        ({"outside_share": 0.5, "moisture": "wet"}, []),  # it is planned for moist ground
        ({"wait_share": 1 / 3, "moisture": "wet"}, []),
        ({"wait_share": 0.34, "moisture": "wet"}, ["wait over a third"]),
        ({"right_chance": 0.5}, []),
        ({"right_chance": 0.49}, ["chance under a half"]),
        ({"right_chance": None}, []),
        ({"generic": True, "overrides": 1}, ["generic planter", "overrides"]),
        ({"blank_share": 0.1, "fault": "No soil."}, ["could not be planned", "no soil data"]),
        (
            {"out_of_reach_share": 0.1, "outside_share": 0.9},
            ["too light or too heavy", "target out of reach"],
        ),
    ],
)
def test_what_a_field_comes_to_says_whether_it_needs_a_look(changes, why):
    assert [look.why for look in needs_a_look(field(**changes))] == why


def test_the_moisture_at_which_most_waits_is_told():
    (look,) = needs_a_look(field(wait_share=0.4, moisture="wet"))
    assert look.words == "waits on 40 % of it when wet"


def test_fields_come_by_their_worst_reason():
    sound, few, many = field(), field(blank_share=0.1), field(blank_share=0.6)
    refused = field(fault="No planter.", overrides=1)
    assert by_need([sound, few, refused, many]) == [refused, many, few, sound]
