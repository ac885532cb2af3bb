import csv
import io
from dataclasses import replace

import pandas as pd
import pytest

from tests.export.plans import SETTINGS, small_plan
from zoneplan.export.table import columns, row
from zoneplan.export.zone_files import csv_bytes
from zoneplan.terms import Moisture


def with_notch(name):
    moist = replace(SETTINGS[0].moistures["moist"], closing_notch=name)
    setting = replace(SETTINGS[0], moistures={**SETTINGS[0].moistures, "moist": moist})
    return replace(small_plan(), settings=(setting, *SETTINGS[1:]))


def test_lines_end_and_quotes_stand_as_the_standard_says():
    # PUBLISHED: RFC 4180, section 2: CR LF, a comma or a quote in quotes, a quote doubled.
    raw = csv_bytes(with_notch('2" up, light'))
    assert raw.count(b"\r\n") == raw.count(b"\n") == 4  # the head and three zones
    assert raw.endswith(b"\r\n")
    assert b',"2"" up, light",' in raw


@pytest.mark.parametrize("moistures", [("wet",), tuple(Moisture)])
def test_the_head_is_the_table(moistures):
    head, *_ = csv.reader(io.StringIO(csv_bytes(small_plan(), moistures).decode("utf-8")))
    assert head == [column.name for column in columns(moistures)]


def test_values_are_read_by_csv():
    text = csv_bytes(small_plan(), ["wet"]).decode("utf-8")
    first, second, third = csv.DictReader(io.StringIO(text, newline=""))
    # WORKED: as written down in plans.py; 350 N + 44 N wet.
    assert (first["id"], first["area_ha"], first["margin_n"]) == ("1", "3.64", "394.0")
    assert (first["moisture"], first["closing_notch"]) == ("wet", "light")
    assert (first["wait"], second["wait"]) == ("false", "true")
    assert (second["margin_n"], third["texture"]) == ("", "")


def test_values_are_read_by_pandas():
    plan = small_plan()
    table = pd.read_csv(io.BytesIO(csv_bytes(plan, tuple(Moisture))), keep_default_na=True)
    for setting, line in zip(plan.settings, table.to_dict("records"), strict=True):
        for name, wanted in row(plan, setting, tuple(Moisture)).items():
            if wanted is None or wanted == "":
                assert pd.isna(line[name]), name
            else:
                assert line[name] == wanted, name


def test_letters_of_any_alphabet_come_through():
    assert "лёгкий côté".encode() in csv_bytes(with_notch("лёгкий côté"))
