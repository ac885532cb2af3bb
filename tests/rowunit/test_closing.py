"""The closing wheels in newtons: from the span of a trial to a notch of the lever."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from zoneplan.rowunit.closing import choose_notch, outside_best_n
from zoneplan.rowunit.machine import Notch
from zoneplan.terms import Moisture
from zoneplan.units import N_PER_LBF

LEVER = [Notch(str(at), load * N_PER_LBF) for at, load in enumerate((20, 40, 60, 80))]


def test_the_nearest_notch_by_load():
    # WORKED: 53 lb lies 13 from 40 and 7 from 60; 50 lb lies 10 from both: the lighter.
    assert choose_notch(LEVER, 53 * N_PER_LBF, Moisture.MOIST, 0.0).notch.name == "2"
    assert choose_notch(LEVER, 50 * N_PER_LBF, Moisture.MOIST, 0.0).notch.name == "1"
    assert choose_notch(LEVER[::-1], 50 * N_PER_LBF, Moisture.MOIST, 0.0).notch.name == "1"


def test_past_even_odds_of_smearing_the_lightest():
    assert choose_notch(LEVER, 53 * N_PER_LBF, Moisture.WET, 0.51).notch.name == "0"
    assert choose_notch(LEVER, 53 * N_PER_LBF, Moisture.WET, 0.50).notch.name == "2"


def test_a_dry_choice_outside_the_best_names_the_next():
    # WORKED: 80 lb is 356 N, past 267; 60 lb (267 N) is the next that lies nearer.
    choice = choose_notch(LEVER, 356.0, Moisture.DRY, 0.0)
    assert (choice.notch.name, choice.outside_best, choice.beside.name) == ("3", True, "2")
    choice = choose_notch(LEVER, 236.0, Moisture.DRY, 0.0)
    assert (choice.notch.name, choice.outside_best, choice.beside) == ("2", False, None)


def test_no_better_notch_is_said_too():
    choice = choose_notch([Notch("only", 400.0)], 236.0, Moisture.DRY, 0.0)
    assert (choice.outside_best, choice.beside) == (True, None)


@pytest.mark.parametrize("moisture", [Moisture.MOIST, Moisture.WET])
def test_moist_and_wet_are_not_held_against_a_dry_trial(moisture):
    choice = choose_notch(LEVER, 356.0, moisture, 0.0)
    assert (choice.notch.name, choice.outside_best, choice.beside) == ("3", False, None)


@given(
    st.lists(st.floats(0, 600), min_size=1, max_size=8),
    st.floats(89, 356),
    st.sampled_from(list(Moisture)),
    st.floats(0, 1),
)
def test_a_dry_load_past_the_best_is_never_silent(loads, aim_n, moisture, smear):
    # Invariant 9.
    lever = [Notch(str(at), load) for at, load in enumerate(loads)]
    choice = choose_notch(lever, aim_n, moisture, smear)
    if moisture is Moisture.DRY and choice.notch.load_n > 267 + 1e-6:
        assert choice.outside_best
    if choice.beside is not None:
        assert outside_best_n(choice.beside.load_n) < outside_best_n(choice.notch.load_n)
