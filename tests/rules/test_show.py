import pytest

from zoneplan.rules.read import read_rules
from zoneplan.rules.show import rule_table, when_in_words

RULES = read_rules()
TABLE = rule_table(RULES)
ROWS = {row[0]: dict(zip(TABLE[0], row, strict=True)) for row in TABLE[1:]}


def test_every_rule_has_a_row_in_the_order_it_acts():
    rules = (*RULES.margin.rules, *RULES.closing.rules)
    assert [row[0] for row in TABLE[1:]] == [rule.id for rule in rules]
    assert len(ROWS) == len(rules)
    assert all(all(cell for cell in row) for row in TABLE)


# WORKED: read aloud from the stock files.
@pytest.mark.parametrize(
    ("rule", "kind", "when", "gives"),
    [
        ("medium-dry", "margin base", "medium soil; dry", "aim for 130 lb"),
        (
            "speed",
            "margin adjust",
            "dry or moist",
            "add 8 lb for every 1 mph of speed above 5 mph, at most 40 lb",
        ),
        ("residue", "margin adjust", "dry or moist; residue 30 % or more, below 60 %", "add 5 lb"),
        (
            "headland",
            "margin adjust",
            "dry or moist; headland; on springs or set-air",
            "add 10 lb",
        ),
        ("band-wet", "margin cap", "wet", "at least 40 lb, at most 110 lb"),
        ("closing-fine-wet", "closing base", "fine soil; wet", "aim for 0"),
        ("closing-band", "closing cap", "always", "at least 0, at most 0.7"),
    ],
)
def test_a_row_reads_as_a_grower_would_say_it(rule, kind, when, gives):
    row = ROWS[rule]
    assert (row["kind"], row["when"], row["gives"]) == (kind, when, gives)
    assert (row["confidence"], row["origin"]) == ("judged", "stock")


def test_a_row_says_what_its_rule_warns():
    assert ROWS["shallow"]["gives"].startswith('add nothing; warns "Planting shallower')
    assert ROWS["too-wet"]["gives"].startswith('no number: wait; warns "Past the plastic limit')
    assert ROWS["dense"]["gives"].startswith('at most 150 lb; warns "Already dense')


def test_a_row_carries_its_sources():
    assert "26(4):551-556" in ROWS["band-wet"]["source"]
    assert "backs the direction" in ROWS["band-wet"]["source"]


@pytest.mark.parametrize(
    ("when", "words"),
    [
        ({"dense": (True,)}, "dense ground"),
        ({"headland": (False,)}, "not headland"),
        ({"depth_m": (float("-inf"), 0.0381)}, "depth below 1.5 in"),
        ({"texture": ("clay", "silty clay")}, "clay or silty clay soil"),
        ({"tillage": ("no-till",), "wetness": ("dry",)}, "no-till; dry"),
    ],
)
def test_when_in_plain_words(when, words):
    assert when_in_words(when) == words
