"""A planter as it is being filled in, by itself."""

import pytest

import tests.hostile.texts  # noqa: F401  # its cases
from tests.hostile.case import CASES
from zoneplan.demo import demo_fields
from zoneplan.errors import MachineError
from zoneplan.forms import Measure, Number, OneOf, flag
from zoneplan.pages.planter_filling import begun, reader_at, shown, typed, unit_word
from zoneplan.plain_file import toml
from zoneplan.rowunit.machine import SYSTEMS
from zoneplan.rowunit.machine_file import KEYS, LISTS, SYSTEM_KEYS, new_machine_text, read_content
from zoneplan.terms import System
from zoneplan.units import quantity

HOSTILE = [name for name, one in CASES.items() if one.door == "machine"]


def leaves(filling):
    """Every place of a planter that has a box."""

    def of(way, value):
        if isinstance(value, dict):
            for key, one in value.items():
                yield from of((*way, key), one)
        elif isinstance(value, list):
            for number, one in enumerate(value):
                yield from of((*way, number), one)
        elif way != ("system", "kind"):
            yield way

    return [*of((), filling.content)]


@pytest.mark.parametrize("name", HOSTILE)
def test_a_file_that_means_harm_is_refused_in_words_or_filled_in(tmp_path, name):
    path = CASES[name].make(tmp_path)
    try:
        sent = path.is_file()  # a pipe would be waited for
    except OSError:  # no disk can have the name
        sent = False
    if not sent:
        pytest.skip("What is no file cannot be sent to a page.")
    content = path.read_bytes()
    try:
        toml("m.toml", content, MachineError)
        filling = begun(content.decode("utf-8-sig"))
    except MachineError:
        return
    machine, faults = filling.read()
    assert (machine is None) == bool(faults)
    for system in SYSTEMS:
        filling.on(System(system)).guessed()
    for way in leaves(filling):
        assert len(shown(reader_at(way), filling.at(way), "si")) < 10_000


@pytest.mark.parametrize("units", ["us", "si"])
@pytest.mark.parametrize("system", SYSTEMS)
def test_what_is_shown_and_typed_again_is_the_same_planter(system, units):
    """The typical numbers, typed into every empty box in either unit system."""
    filling = begun(new_machine_text(system))
    for way in leaves(filling):
        if filling.at(way) is None and (typical := filling.typical(way)) is not None:
            reader = reader_at(way)
            entry = shown(reader, typical, units)
            value = typed(reader, entry, units) if isinstance(typical, str) else typical
            filling = filling.put(way, value)
    machine, faults = filling.read()
    assert faults == ()
    generic = filling.guessed()
    # Shown to two decimals: 0.005 N, kPa or cm at the most.
    assert machine.unit_weight_n == pytest.approx(generic.unit_weight_n, abs=0.0051)
    assert machine.row_spacing_m == pytest.approx(generic.row_spacing_m, abs=0.0051 / 100)
    for notch, typical in zip(machine.notches, generic.notches, strict=True):
        assert notch.load_n == pytest.approx(typical.load_n, abs=0.0051)
    assert read_content(toml("ours", filling.text().encode(), MachineError)) == (machine, ())


@pytest.mark.parametrize("demo", demo_fields(), ids=lambda demo: demo.name)
def test_a_planters_own_file_is_whole_from_the_start_and_stays_as_it_is(demo):
    text = demo.machine.read_text(encoding="utf-8")
    filling = begun(text)
    machine, faults = filling.read()
    assert faults == ()
    assert filling.guessed() == machine
    assert filling.text() == text
    assert not filling.touched


def test_every_measure_has_a_unit_in_either_system():
    keys = [*KEYS, *(key for keys in SYSTEM_KEYS.values() for key in keys)]
    measures = [
        reader_at((key,))
        for key in keys
        if key not in (*LISTS, "system") and isinstance(reader_at((key,)), Measure)
    ]
    assert len(measures) > 10
    for reader in measures:
        for units in ("us", "si"):
            assert quantity(f"1 {unit_word(reader, units)}", reader.kind) > 0


@pytest.mark.parametrize("system", SYSTEMS)
@pytest.mark.parametrize(
    "entry",
    [
        "",
        "0",
        "-1",
        "9" * 400,
        "1e400 lb",
        "80 kg",
        "171,5",
        "−20",
        "inf",
        "<b>",
        "'\"\\\x1b\n",
        "½",
    ],
)
def test_whatever_is_typed_is_read_or_told_at_its_place(system, entry):
    filling = begun(new_machine_text(system))
    boxes = {way: reader_at(way) for way in leaves(filling)}
    for way, reader in boxes.items():
        if isinstance(reader, Number) or reader is flag or isinstance(reader, OneOf):
            continue
        filling = filling.put(way, typed(reader, entry, "us"))
        for units in ("us", "si"):
            assert isinstance(shown(reader, filling.at(way), units), str)
    filling.guessed()
    machine, faults = filling.read()
    assert machine is None
    assert {fault.way[0] for fault in faults} <= {way[0] for way in boxes}
