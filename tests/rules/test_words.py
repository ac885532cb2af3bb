import pytest

from zoneplan.rules.read import read_rules
from zoneplan.rules.words import rule_table, when_in_words

RULES = read_rules()
TABLE = rule_table(RULES)
ROWS = {row[0]: dict(zip(TABLE[0], row, strict=True)) for row in TABLE[1:]}


def test_every_rule_has_a_row_in_the_order_it_acts():
    assert [row[0] for row in TABLE[1:]] == [rule.id for rule in RULES.every]
    assert len(ROWS) == len(RULES.every)
    assert all(all(cell for cell in row) for row in TABLE)


# WORKED: read aloud from the stock files.
@pytest.mark.parametrize(
    ("rule", "kind", "when", "gives"),
    [
        ("aim-medium-dry", "aim base", "loam, silt loam or silt; dry", "120 lb"),
        ("most-fine-wet", "most base", "sandy clay, silty clay or clay; wet", "110 lb"),
        ("bounce-no-till", "swing factor", "no-till", "62 lb"),
        (
            "swing-speed",
            "swing factor",
            "always",
            "5 % more swing for every 1 mph of speed above 5 mph, never below 85 %",
        ),
        (
            "swing-residue",
            "swing factor",
            "always",
            "0.25 % more swing for every 1 % of residue above 20 %, never above 115 %",
        ),
        ("felt-hydraulic", "swing factor", "on hydraulic", "50 % of the unevenness is felt"),
        ("swing-depth", "swing factor", "always", "through the opener load"),
        ("least-contact", "swing factor", "always", "lifts the target"),
        ("swing-measured", "swing factor", "always", "in place of all of it"),
        (
            "test-wet",
            "stop test",
            "wet; chance to smear 20 % or more, below 75 %",
            "squeeze test first",
        ),
        ("closing-spiked", "closing adjust", "closing wheels: spiked", "add -9 lb"),
        ("closing-span", "closing cap", "always", "at least 20 lb, at most 80 lb"),
    ],
)
def test_a_row_reads_as_a_grower_would_say_it(rule, kind, when, gives):
    row = ROWS[rule]
    assert (row["kind"], row["when"], row["gives"]) == (kind, when, gives)
    assert (row["confidence"], row["origin"]) == ("judged", "stock")


def test_a_row_says_what_its_rule_warns():
    assert ROWS["shallow"]["gives"].startswith('a remark; warns "Planting shallower')
    assert ROWS["too-wet"]["gives"] == "no number: wait"
    assert ROWS["most-dense"]["gives"].startswith('at most 150 lb; warns "Dense ground')


def test_a_row_carries_its_sources():
    assert "26(4):551-556" in ROWS["most-fine-wet"]["source"]
    assert "backs the direction" in ROWS["most-fine-wet"]["source"]


@pytest.mark.parametrize(
    ("when", "words"),
    [
        ({"dense": (True,)}, "dense ground"),
        ({"headland": (False,)}, "not headland"),
        ({"depth_m": (float("-inf"), 0.0381)}, "depth below 1.5 in"),
        ({"texture": ("clay", "silty clay")}, "clay or silty clay"),
        ({"tillage": ("no-till",), "moisture": ("dry",)}, "no-till; dry"),
    ],
)
def test_when_in_plain_words(when, words):
    assert when_in_words(when) == words
