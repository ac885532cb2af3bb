"""A changed rule is a local copy with a name; the stock one stays, and comes back."""

import datetime
import difflib
import hashlib
from dataclasses import replace

import pytest

from zoneplan.errors import RuleError
from zoneplan.rules.local_rules import (
    Change,
    changed,
    own_rules,
    put_back,
    with_files,
    without_file,
)
from zoneplan.rules.read import STOCK, RulesFile, parse, read_rules
from zoneplan.rules.rule import Source
from zoneplan.rules.write import as_written, with_rule, without_rule
from zoneplan.units import N_PER_LBF

DAY, LATER = datetime.date(2026, 12, 5), datetime.date(2027, 4, 2)
SPIKED = Change(
    "closing", "closing-spiked", {"add": -5.0}, "We dug.", None, "North farm", "AB", DAY
)
MOST = replace(SPIKED, decides="most", rule="most-fine-dry")
COOP = RulesFile(
    "coop.toml",
    b"""# what our co-op found
decides = "closing"
unit = "N"
revised = 2026-12-01
drop = ["closing-cast"]

[[adjust]]
id = "closing-spiked"
title = "Spiked wheels here"
when = { closing_wheel = ["spiked"] }
add = -44
why = "Our trial."
confidence = "measured"
source = [{ cite = "Co-op (2026)", backs = "value" }]

[[adjust]]
id = "knolls"
title = "Knolls"
add = 5
why = "They dry first."
confidence = "judged"
source = [{ cite = "judgement" }]
""",
)
STOCK_RULES = read_rules()


def rule(rules, id):
    (result,) = (rule for rule in rules.every if rule.id == id)
    return result


def fault_of(files, change):
    before = tuple(files)
    with pytest.raises(RuleError) as caught:
        changed(files, change)
    assert files == before  # and nothing else is kept anywhere
    return str(caught.value)


def test_a_changed_rule_is_a_copy_that_says_who_when_and_why():
    (file,) = changed((), SPIKED)
    assert file.name == "North farm closing.toml"
    rules = read_rules([file])
    ours, stock = rule(rules, "closing-spiked"), rule(STOCK_RULES, "closing-spiked")
    assert ours == replace(
        stock,
        amount=replace(stock.amount, fixed=-5 * N_PER_LBF),
        why="We dug.",
        plain=None,  # the stock words would tell the stock reason
        sources=(Source("judgement of AB, 2026-12-05"), *stock.sources),
        origin="North farm closing.toml",
    )
    assert rules.closing.revised == DAY
    # All else stands as it was, in its place.
    others = [rule for rule in rules.closing.rules if rule is not ours]
    assert others == [rule for rule in STOCK_RULES.closing.rules if rule is not stock]
    assert [rule.id for rule in rules.closing.rules] == [
        rule.id for rule in STOCK_RULES.closing.rules
    ]
    for other in ("aim", "most", "swing", "stop"):
        assert getattr(rules, other) == getattr(STOCK_RULES, other)


def test_it_is_the_same_as_a_file_on_a_disk(tmp_path):
    files = changed(changed((), SPIKED), replace(MOST, numbers={"aim": 180.0}))
    assert [file.name for file in files] == ["North farm closing.toml", "North farm most.toml"]
    for file in files:
        (tmp_path / file.name).write_bytes(file.content)
    rules = read_rules(files)
    assert rules == read_rules([tmp_path / file.name for file in files])
    read = b"".join([*(path.read_bytes() for path in STOCK), *(file.content for file in files)])
    assert rules.sha256 == hashlib.sha256(read).hexdigest()


def test_the_stock_files_are_never_touched():
    before = [path.read_bytes() for path in STOCK]
    put_back(changed((), SPIKED), "closing", "closing-spiked", LATER)
    assert [path.read_bytes() for path in STOCK] == before


# What each kind of rule has for numbers: pounds, but for the parts of a swing that multiply.
NUMBERS = {
    "aim-fine-dry": ("aim", {"aim": 150.0}),
    "bounce-no-till": ("swing", {"value": 70.0}),
    "swing-speed": (
        "swing",
        {"value": 0.1, "per": {"speed_mph": 0.5, "above": 5.0}, "least": 0.8},
    ),
    "most-dense": ("most", {"most": 140.0}),
    "closing-span": ("closing", {"least": 15.0, "most": 90.0}),
}


def test_every_kind_of_number_can_be_changed():
    files = ()
    for id, (decides, numbers) in NUMBERS.items():
        files = changed(files, replace(SPIKED, decides=decides, rule=id, numbers=numbers))
    rules = read_rules(files)
    lbf = N_PER_LBF
    assert rule(rules, "aim-fine-dry").amount.fixed == 150 * lbf
    assert rule(rules, "bounce-no-till").amount.fixed == 70 * lbf
    speed = rule(rules, "swing-speed")
    assert (speed.amount.each, speed.amount.step) == (0.1, 0.5 * 0.44704)
    assert (speed.amount.over, speed.least) == (5 * 0.44704, 0.8)
    assert (rule(rules, "most-dense").least, rule(rules, "most-dense").most) == (None, 140 * lbf)
    span = rule(rules, "closing-span")
    assert (span.least, span.most) == (15 * lbf, 90 * lbf)
    assert [file.name for file in files] == [
        f"North farm {decides}.toml" for decides in ("aim", "swing", "most", "closing")
    ]


def test_a_number_can_be_left_out():
    span = replace(SPIKED, rule="closing-span", numbers={"least": None})
    (file,) = changed((), span)
    assert rule(read_rules([file]), "closing-span").least is None
    speed = replace(SPIKED, decides="swing", rule="swing-speed", numbers={"least": None})
    assert "never ends" in fault_of((), speed)
    assert "caps nothing" in fault_of(
        (), replace(SPIKED, rule="closing-span", numbers={"least": None, "most": None})
    )


def test_words_that_tell_the_number_are_changed_with_it():
    dense = replace(MOST, rule="most-dense", numbers={"most": 140.0})
    words = "Already dense: no more than 140 lb."
    (file,) = changed((), replace(dense, warns=words, title="Dense ground, 140 lb"))
    one_rule = rule(read_rules([file]), "most-dense")
    assert (one_rule.warns, one_rule.title) == (words, "Dense ground, 140 lb")
    (file,) = changed((), dense)
    one_rule = rule(read_rules([file]), "most-dense")
    assert (one_rule.warns, one_rule.title) == (None, rule(STOCK_RULES, "most-dense").title)
    (file,) = changed((), replace(dense, warns=rule(STOCK_RULES, "most-dense").warns))
    assert (
        rule(read_rules([file]), "most-dense").warns_plain
        == rule(STOCK_RULES, "most-dense").warns_plain
    )


def test_a_source_of_ones_own_makes_it_more_than_a_judgement():
    ours = Source("Us (2026), strip trial", "https://example.org", "value")
    (file,) = changed((), replace(SPIKED, confidence="measured", source=ours))
    one_rule = rule(read_rules([file]), "closing-spiked")
    assert one_rule.confidence == "measured"
    assert one_rule.sources[:2] == (Source("judgement of AB, 2026-12-05"), ours)
    assert 'is "measured", but no source backs its value' in fault_of(
        (), replace(SPIKED, confidence="measured")
    )


def test_sources_that_no_longer_back_it_are_left_out():
    (file,) = changed((), replace(SPIKED, keeps_sources=False))
    assert rule(read_rules([file]), "closing-spiked").sources == (
        Source("judgement of AB, 2026-12-05"),
    )
    other_way = replace(SPIKED, numbers={"add": 5.0})
    assert "turns the rule round, from -9 to 5" in fault_of((), other_way)
    assert changed((), replace(other_way, keeps_sources=False))


def test_what_backed_the_old_number_backs_only_the_direction_of_the_new():
    files = changed((COOP,), replace(SPIKED, numbers={"add": -12.0}))
    one_rule = rule(read_rules(files), "closing-spiked")
    assert one_rule.sources[1] == Source("Co-op (2026)", backs="direction")
    assert (one_rule.confidence, one_rule.origin) == ("judged", "North farm closing.toml")


def test_who_decided_last_is_who_is_cited():
    files = changed((), SPIKED)
    files = changed(
        files, replace(SPIKED, numbers={"add": -7.0}, initials="CD", on=LATER, name="Home farm")
    )
    assert [file.name for file in files] == ["Home farm closing.toml"]
    cites = [source.cite for source in rule(read_rules(files), "closing-spiked").sources]
    assert cites[0] == "judgement of CD, 2027-04-02"
    assert not any("AB" in cite for cite in cites)


def test_several_rules_are_kept_in_one_copy():
    files = changed((), SPIKED)
    files = changed(files, replace(SPIKED, rule="closing-cast", numbers={"add": -7.0}, on=LATER))
    rules = read_rules(files)
    assert len(files) == 1
    assert rule(rules, "closing-spiked").amount.fixed == -5 * N_PER_LBF
    assert rule(rules, "closing-cast").amount.fixed == -7 * N_PER_LBF
    assert rules.closing.revised == LATER


def test_all_that_is_wrong_is_told_at_once():
    empty = Change("closing", "closing-fine-wet", {"aim": 120.0}, " ", None, "", " ", DAY)
    message = fault_of((), empty)
    assert 'The change of "closing-fine-wet" has 3 faults:' in message
    for words in ("no name", "Give initials", "does not say why"):
        assert words in message
    assert 'aims for 120 lb, but cap "closing-span" allows at most 80 lb' in message


# Each way to break a changed rule, and the words that its message must contain.
BROKEN = {
    "nothing new": (
        replace(SPIKED, numbers={}, why=rule(STOCK_RULES, "closing-spiked").why),
        "nothing",
    ),
    "no number": (replace(MOST, numbers={"aim": None}), "has no aim"),
    "step of nothing": (
        replace(
            SPIKED,
            decides="swing",
            rule="swing-speed",
            numbers={"per": {"speed_mph": 0.0, "above": 5.0}},
        ),
        "above 0",
    ),
    "under its cap": (replace(SPIKED, rule="closing-fine-dry", numbers={"aim": 10.0}), "at least"),
    "caps that cross": (
        replace(SPIKED, rule="closing-span", numbers={"least": 90.0}),
        "Change one",
    ),
}


@pytest.mark.parametrize("way", BROKEN)
def test_a_change_that_cannot_stand_is_told_in_words(way):
    change, words = BROKEN[way]
    assert words in fault_of((), change)


def test_a_name_that_another_file_has_is_told():
    other = RulesFile(
        "North farm closing.toml", b'decides = "aim"\nunit = "N"\nrevised = 2026-12-01\n'
    )
    message = fault_of((other,), replace(SPIKED, rule="closing-cast", numbers={"add": -7.0}))
    assert "North farm closing.toml decides aim" in message
    assert "another name" in message


def test_a_rule_is_put_back():
    files = changed((), SPIKED)
    files = changed(files, replace(SPIKED, rule="closing-cast", numbers={"add": -7.0}))
    left = put_back(files, "closing", "closing-spiked", LATER)
    rules = read_rules(left)
    assert rule(rules, "closing-spiked") == rule(STOCK_RULES, "closing-spiked")
    assert rule(rules, "closing-cast").origin == "North farm closing.toml"
    assert put_back(left, "closing", "closing-cast", LATER) == ()


def test_a_rule_that_was_dropped_is_put_back():
    (file,) = put_back((COOP,), "closing", "closing-cast", LATER)
    rules = read_rules([file])
    assert rule(rules, "closing-cast") == rule(STOCK_RULES, "closing-cast")
    assert rules.dropped == ()
    assert rule(rules, "closing-spiked").amount.fixed == -44  # N, as the file has it
    assert rule(rules, "knolls").origin == "coop.toml"


HEAD = b'decides = "closing"\nunit = "lbf"\nrevised = 2026-12-01\n'


def test_putting_back_a_rule_that_others_took_the_place_of_is_told():
    hole = RulesFile("a.toml", HEAD + b'drop = ["closing-fine-wet"]\n[[base]]\nid = "ours"\n'
                     b'title = "Ours"\naim = 30\n'
                     b'when = { texture_group = "fine", moisture = "wet" }\nwhy = "We dug."\n'
                     b'confidence = "judged"\nsource = [{ cite = "judgement" }]\n')  # fmt: skip
    with pytest.raises(RuleError, match="2 base rules"):
        put_back((hole,), "closing", "closing-fine-wet", LATER)
    assert without_file((hole,), "a.toml") == ()


def test_files_are_laid_over_each_other_or_take_each_others_place():
    files = with_files(changed((), SPIKED), [COOP])
    assert (
        rule(read_rules(files), "closing-spiked").origin == "coop.toml"
    )  # the last has the last word
    assert [file.name for file in files] == ["North farm closing.toml", "coop.toml"]
    newer = replace(COOP, content=COOP.content.replace(b"44", b"40"))
    assert with_files(files, [newer]) == (files[0], newer)
    with pytest.raises(RuleError, match="2 faults"):
        with_files(files, [RulesFile("b.toml", b'decides = "closing"\n')])


def test_files_that_only_stand_together_are_proved_together():
    taker = RulesFile("b.toml", HEAD + b'drop = ["knolls"]\n')
    with pytest.raises(RuleError, match="no rule"):
        with_files((), [taker])
    files = with_files((), [COOP, taker])
    with pytest.raises(RuleError, match="no rule"):
        without_file(files, "coop.toml")


def test_what_is_not_stock_is_listed():
    assert own_rules(STOCK_RULES) == []
    own = own_rules(read_rules([COOP]))
    assert [(each.own and each.own.id, each.stock and each.stock.id) for each in own] == [
        ("closing-spiked", "closing-spiked"),
        ("knolls", None),
        (None, "closing-cast"),
    ]
    assert {each.unit for each in own} == {"lbf"}


def test_an_id_that_both_sets_have_means_the_one_that_is_meant():
    twin = RulesFile("twin.toml", COOP.content.replace(b'"closing"', b'"aim"')
                     .replace(b'drop = ["closing-cast"]\n', b""))  # fmt: skip
    files = changed((twin,), SPIKED)
    assert files[0] == twin
    files = changed(files, replace(SPIKED, decides="aim", numbers={"add": -8.0}))
    assert [file.name for file in files] == [
        "twin.toml", "North farm closing.toml", "North farm aim.toml",
    ]  # fmt: skip
    rules = read_rules(files)
    values = [
        next(rule for rule in rule_set.rules if rule.id == "closing-spiked").amount.fixed
        for rule_set in (rules.closing, rules.aim)
    ]
    assert values == [-5 * N_PER_LBF, -8 * N_PER_LBF]
    left = put_back(files, "closing", "closing-spiked", LATER)
    assert [each.name for each in left] == ["twin.toml", "North farm aim.toml"]


# A co-op's own file as people write them: comments everywhere, kinds by turns, both ways of
# giving sources, a text that looks like a header.
WRITTEN = """\
# What our co-op found.   Ask Ada.

decides = "closing"
unit = "N"   # newtons
revised = 2026-12-01
drop = [
    "closing-cast",  # we have none
    "closing-one-of-each",
]

# ---- spiked ----

# three years of strips
[[adjust]]
id    = "closing-spiked"   # as the stock one
title = "Spiked wheels here"
when  = { closing_wheel = "spiked" }
add   = -44         # newtons
# Ada wrote this.
why = \'\'\'
Our trial.
[[adjust]]
# no comment\'\'\'
confidence = "measured"
[[adjust.source]]
cite = "Co-op (2026)"   # the report
backs = "value"

# ---- caps ----
[[cap]]
id = "slow"
title = "Slow"
most = 340
why = "We go slowly."
confidence = "judged"
source = [{ cite = "judgement" }]
# the knolls dry first

[[adjust]]
id = "knolls"
title = "Knolls"
add = 20
why = "They dry first."
confidence = "judged"
source = [{ cite = "judgement" }]

# the end"""
OURS = RulesFile("North farm closing.toml", WRITTEN.encode())


def lines_that_changed(files):
    (file,) = files
    before, after = WRITTEN.splitlines(), file.content.decode().splitlines()
    values = [each for each in difflib.ndiff(before, after) if each[:1] in "+-"]
    return [
        part for part in values if part not in ("- revised = 2026-12-01", "+ revised = 2026-12-05")
    ]


def test_one_number_changes_its_lines_and_no_others():
    files = changed((OURS,), replace(SPIKED, rule="knolls", numbers={"add": 10.0}))
    result = lines_that_changed(files)
    assert [part[2:] for part in result if part[0] == "-"] == [
        "add = 20",
        'why = "They dry first."',
        'source = [{ cite = "judgement" }]',
    ]
    assert [part[2:] for part in result if part[0] == "+"] == [
        "add = 44.482216152605",  # WORKED: 10 lbf in the file's own unit
        'why = "We dug."',
        "source = [",
        '    { cite = "judgement of AB, 2026-12-05" },',
        "]",
    ]
    assert rule(read_rules(files), "knolls").amount.fixed == pytest.approx(10 * N_PER_LBF)


def test_comments_within_a_rule_stay_where_it_is_changed():
    (file,) = files = changed((OURS,), replace(SPIKED, confidence="judged"))
    text = file.content.decode()
    for comment in ("# as the stock one", "# newtons", "# Ada wrote this.", "# ---- caps ----"):
        assert comment in text
    assert "[[adjust.source]]" not in text
    one_rule = rule(read_rules(files), "closing-spiked")
    assert (one_rule.why, one_rule.amount.fixed) == ("We dug.", pytest.approx(-5 * N_PER_LBF))
    assert one_rule.sources[1] == Source("Co-op (2026)", backs="direction")


def test_a_new_rule_is_put_after_the_others():
    files = changed((OURS,), replace(SPIKED, rule="closing-span", numbers={"most": 75.0}))
    # WORKED: a blank line, the header, seven keys, two sources and a bracket.
    assert [each[:1] for each in lines_that_changed(files)] == ["+"] * 12
    (file,) = files
    assert '# the end\n\n[[cap]]\nid = "closing-span"\n' in file.content.decode()


def test_only_the_rule_goes_that_is_put_back():
    gone = lines_that_changed(put_back((OURS,), "closing", "closing-spiked", DAY))
    assert {each[0] for each in gone} == {"-"}
    assert len(gone) == 14  # WORKED: from its header to backs, in the text above
    assert "- # Ada wrote this." in gone
    assert "- # three years of strips" not in gone
    assert lines_that_changed(put_back((OURS,), "closing", "closing-cast", DAY)) == [
        '-     "closing-cast",  # we have none'
    ]


def test_a_rule_that_moves_to_another_file_leaves_the_comments_of_the_first():
    change = replace(SPIKED, name="Home farm", rule="knolls", numbers={"add": 10.0})
    theirs, ours = changed((OURS,), change)
    assert (theirs.name, ours.name) == ("North farm closing.toml", "Home farm closing.toml")
    assert {each[0] for each in lines_that_changed([theirs])} == {"-"}
    assert theirs.content.decode().endswith("# the knolls dry first\n\n\n# the end")


@pytest.mark.parametrize("path", STOCK, ids=lambda path: path.stem)
def test_every_rule_of_a_long_file_can_be_changed_or_taken_out_by_itself(path):
    def comments(toml):
        return [line for line in toml.splitlines() if line.startswith("#")]

    text = path.read_text("utf-8")
    page = parse(path.name, text.encode(), "")
    for one in page.rules:
        other = replace(one, title="Other")
        after = with_rule(text, one.kind, as_written(other, page.unit), page.revised)
        now = tuple(other if rule is one else rule for rule in page.rules)
        assert parse(path.name, after.encode(), "") == replace(page, rules=now)
        left = without_rule(text, one.id, page.revised)
        others = tuple(rule for rule in page.rules if rule is not one)
        assert parse(path.name, left.encode(), "") == replace(page, rules=others)
        assert comments(after) == comments(left) == comments(text)


def test_several_changes_are_proved_together():
    stop = replace(SPIKED, decides="stop", rule="too-wet")
    later = replace(stop, numbers={"when": {"moisture": ["wet"], "smear_pct": {"from": 95.0}}})
    test_on = replace(
        later,
        rule="test-wet",
        numbers={"when": {"moisture": ["wet"], "smear_pct": {"from": 20.0, "below": 95.0}}},
    )
    assert "let one begin where the other ends" in fault_of((), later)
    (file,) = changed((), later, test_on)
    assert read_rules(changed((), test_on, later)).stop == read_rules([file]).stop
    assert rule(read_rules([file]), "too-wet").when["smear_chance"][0] == pytest.approx(0.95)
    assert rule(read_rules([file]), "test-wet").when["smear_chance"][1] == pytest.approx(0.95)


def test_numbers_are_in_the_unit_of_the_change_and_a_copy_is_begun_in_it():
    newtons = replace(SPIKED, numbers={"add": -30.0}, unit="N")
    (file,) = changed((), newtons)
    assert b'unit = "N"' in file.content
    assert rule(read_rules([file]), "closing-spiked").amount.fixed == -30.0
    (file,) = changed((file,), SPIKED)
    assert b'unit = "N"' in file.content
    assert rule(read_rules([file]), "closing-spiked").amount.fixed == -5 * N_PER_LBF
