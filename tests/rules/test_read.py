"""Each way to break a rules file, and the words that its message must contain."""

import datetime
import hashlib

import pytest

from zoneplan.errors import RuleError
from zoneplan.plan.swing_chain import swing_factors
from zoneplan.rules.read import STOCK, read_rules
from zoneplan.units import N_PER_LBF

HEAD = 'decides = "aim"\nunit = "lbf"\nrevised = 2027-03-01\n'
TAIL = 'title = "Ours"\nwhy = "We dug."\nconfidence = "judged"\nsource = [{ cite = "judgement" }]\n'
BASE = f'[[base]]\nid = "ours"\naim = 90\n{TAIL}'
ADJUST = f'[[adjust]]\nid = "ours"\nadd = 5\n{TAIL}'
CAP = f'[[cap]]\nid = "ours"\nmost = 190\n{TAIL}'
STOP = f'[[stop]]\nid = "ours"\n{TAIL}'
STOPS = HEAD.replace("aim", "stop")
SWING = HEAD.replace("aim", "swing")


@pytest.fixture
def page(tmp_path):
    """Write one rules file."""

    def write(text, name="coop.toml"):
        path = tmp_path / name
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return path

    return write


def fault_of(*paths):
    with pytest.raises(RuleError) as caught:
        read_rules(paths)
    return str(caught.value)


def when(text, rule=ADJUST, head=HEAD):
    return f"{head}{rule}when = {{ {text} }}\n"


def factor(acts, says, id="ours"):
    return f'{SWING}[[factor]]\nid = "{id}"\nacts = "{acts}"\n{says}{TAIL}'


BROKEN = {
    # the file
    "latin-1": ((HEAD + "# Schäfer").encode("latin-1"), ["coop.toml", "UTF-8", "byte"]),
    "utf-16": ((HEAD + ADJUST).encode("utf-16"), ["UTF-8"]),
    "not TOML": (f"{HEAD}[[base]\n", ["coop.toml is not TOML", "line 4"]),
    "a key twice": (f'{HEAD}unit = "N"\n', ["not TOML", "line 4"]),
    "nested too deep": (f"{HEAD}drop = {'[' * 5000}", ["not TOML"]),
    "no date": ('decides = "aim"\nunit = "lbf"\n', ["no revised", "2026-11-20"]),
    "date in quotes": (HEAD.replace("2027-03-01", '"2027"'), ["revised", '"2027" is not a date']),
    "date with a time": (HEAD.replace("2027-03-01", "2027-03-01T07:00:00"), ["not a date"]),
    "no unit": ('decides = "aim"\nrevised = 2027-03-01\n', ["no unit"]),
    "unit unknown": (HEAD.replace("lbf", "stone"), ['"stone" is no unit of load', "lbf"]),
    "unit of another kind": (HEAD.replace("lbf", "psi"), ['"psi" is no unit of load']),
    "no decides": ('unit = "lbf"\nrevised = 2027-03-01\n', ["no decides", "swing, stop or"]),
    "decides what": (HEAD.replace("aim", "aims"), ['"aims"', 'mean "aim"?', "stop or closing"]),
    "top-level key unknown": (f"{HEAD}[[bases]]\n", ["bases is not a key", 'mean "base"?']),
    "one bracket": (HEAD + BASE.replace("[[base]]", "[base]"), ["base", "two brackets"]),
    "drop is no list": (f'{HEAD}drop = "stony"\n', ["drop", '"stony" is not a list']),
    "drop of a stranger": (f'{STOPS}drop = ["stonny"]\n', ['"stonny" is no rule', 'mean "stony"?']),
    # any rule
    "no id": (HEAD + ADJUST.replace('id = "ours"\n', ""), ["adjust 1 has no id"]),
    "no title": (HEAD + ADJUST.replace('title = "Ours"\n', ""), ['rule "ours" has no title']),
    "no why": (HEAD + ADJUST.replace('why = "We dug."\n', ""), ['rule "ours" has no why']),
    "empty why": (HEAD + ADJUST.replace("We dug.", " "), ['rule "ours", why', "says nothing"]),
    "no confidence": (HEAD + ADJUST.replace('confidence = "judged"\n', ""), ["no confidence"]),
    "confidence unknown": (HEAD + ADJUST.replace("judged", "sure"), ['"sure"', "or judged"]),
    "no source": (
        HEAD + ADJUST.replace('source = [{ cite = "judgement" }]\n', ""),
        ["no source", "judgement"],
    ),
    "empty source": (HEAD + ADJUST.replace('{ cite = "judgement" }', ""), ["no source"]),
    "source of words": (HEAD + ADJUST.replace('[{ cite = "judgement" }]', '"us"'), ["a list"]),
    "source key unknown": (HEAD + ADJUST.replace("cite", "site"), ["1, site", 'mean "cite"?']),
    "source without cite": (
        HEAD + ADJUST.replace('cite = "judgement"', 'backs = "value"'),
        ["has no cite"],
    ),
    "source backs what": (
        HEAD + ADJUST.replace('"judgement"', '"Us (2026)", backs = "all"'),
        ["source, 1, backs", "value or direction"],
    ),
    "source backs nothing": (
        HEAD + ADJUST.replace('"judgement"', '"Us (2026)"'),
        ["does not say what it backs"],
    ),
    "judgement backs": (
        HEAD + ADJUST.replace('"judgement"', '"judgement", backs = "value"'),
        ["judgement backs nothing"],
    ),
    "measured by nobody": (
        HEAD + ADJUST.replace("judged", "measured"),
        ['is "measured", but no source backs its value'],
    ),
    "advised by nobody": (
        HEAD
        + ADJUST.replace("judged", "advised").replace(
            '"judgement"', '"Us (2026)", backs = "direction"'
        ),
        ['is "advised", but no source backs its value'],
    ),
    "key unknown": (f"{HEAD}{ADJUST}aim = 9\n", ['rule "ours", aim is not a key here']),
    "key misspelt": (f"{HEAD}{ADJUST}wen = {{}}\n", ["wen is not a key here", 'mean "when"?']),
    "key of another kind": (f"{STOPS}{STOP}add = 9\n", ["add is not a key here"]),
    "an id twice": (f"{HEAD}{ADJUST}{CAP}", ['rule "ours" is written 2 times']),
    "plain words of nothing": (
        f'{HEAD}{ADJUST}warns_plain = "look out"\n',
        ["a warns_plain but no warns"],
    ),
    "soils unknown": (
        f'{HEAD}soils = {{ heavy = "clay" }}\n',
        ["soils.heavy is not a key", "moderately fine or fine"],
    ),
    # when
    "moisture unknown": (
        when('moisture = ["damp"]'),
        ['rule "ours", when.moisture: "damp" is not a moisture. Use dry, moist or wet.'],
    ),
    "texture group unknown": (
        when('texture_group = ["heavy"]'),
        ['"heavy" is not a texture group', "moderately fine or fine"],
    ),
    "texture unknown": (when('texture = "silty loam"'), ['"silty loam" is not a texture']),
    "tillage unknown": (when('tillage = ["no till"]'), ['"no till" is not a tillage', "no-till"]),
    "system unknown": (when('system = ["bags"]'), ['"bags" is not a system', "set-air"]),
    "when is a word": (f'{HEAD}{ADJUST}when = "wet"\n', ["when", "not a table"]),
    "when key misspelt": (when('moistur = ["wet"]'), ["when.moistur", 'mean "moisture"?']),
    "when in another unit": (when("speed_kmh = { from = 8 }"), ["speed_kmh", 'mean "speed_mph"']),
    "base looks too far": (
        when("dense = true", BASE),
        ["when.dense is not a key here", "texture_group, moisture or tillage"],
    ),
    "flag is a word": (when('headland = "yes"'), ['"yes" is neither true nor false']),
    "empty list": (when("moisture = []"), ["an empty list never holds"]),
    "range is a number": (when("speed_mph = 5"), ["speed_mph", "not a table"]),
    "range of words": (when('speed_mph = { from = "5 mph" }'), ["speed_mph.from", "without"]),
    "range key unknown": (when("speed_mph = { above = 5 }"), ["above is not a key", "from"]),
    "empty range": (when("speed_mph = {}"), ["Give from, below or both"]),
    "range upside down": (when("speed_mph = { from = 9, below = 5 }"), ["low to high"]),
    # amounts
    "base without aim": (HEAD + BASE.replace("aim = 90\n", ""), ["no aim"]),
    "adjust without add": (HEAD + ADJUST.replace("add = 5\n", ""), ["no add"]),
    "cap without either": (HEAD + CAP.replace("most = 190\n", ""), ["caps nothing"]),
    "amount in quotes": (HEAD + BASE.replace("90", '"90 lb"'), ["aim", '"90 lb" is not a number']),
    "amount is true": (HEAD + BASE.replace("90", "true"), ["true is not a number"]),
    "amount is nan": (HEAD + BASE.replace("90", "nan"), ["nan is not a number"]),
    "amount is endless": (HEAD + BASE.replace("90", "inf"), ["inf is not a number"]),
    "most without per": (f"{HEAD}{ADJUST}most = 9\n", ["a most but no per"]),
    "per without above": (f"{HEAD}{ADJUST}per = {{ speed_mph = 1 }}\n", ["where it starts"]),
    "per of two": (
        f"{HEAD}{ADJUST}per = {{ speed_mph = 1, depth_in = 1, above = 5 }}\n",
        ["give one step"],
    ),
    "per of nothing": (f"{HEAD}{ADJUST}per = {{ speed_mph = 0, above = 5 }}\n", ["above 0"]),
    "per is a number": (f"{HEAD}{ADJUST}per = 5\n", ["per", "not a table"]),
    # what does not go together
    "kind that has no part": (f"{HEAD}{STOP}", ["[[stop]] has no part in aim. Use base"]),
    "adjust of a swing": (f"{SWING}{ADJUST}", ["[[adjust]] has no part in swing. Use factor."]),
    "base of a stop": (f"{STOPS}{BASE}", ["[[base]] has no part in stop", "stop, test or warn"]),
    "a warning of nothing": (f"{STOPS}{STOP}".replace("stop]]", "warn]]"), ["warns of nothing"]),
    # factors
    "factor of nothing": (factor("", "value = 1\n"), ['"" is not a part of a swing', "bounce"]),
    "factor without acts": (
        f'{SWING}[[factor]]\nid = "ours"\nvalue = 1\n{TAIL}', ["has no acts. Use bounce, speed"],
    ),
    "factor without value": (factor("uneven", ""), ["acts on uneven and has no value"]),
    "factor with a number of ours": (
        factor("least", "value = 2\n"), ["acts on least, whose number is in the program"],
    ),
    "factor that does not grow": (
        factor("speed", "value = 0.1\nleast = 0.8\n"),
        ["acts on speed, which grows. Write per = { speed_mph = 1, above = 5 }."],
    ),
    "factor that starts elsewhere": (
        factor("speed", "value = 0.1\nleast = 0.8\nper = { speed_mph = 1, above = 6 }\n"),
        ["acts on speed and grows with something else"],
    ),
    "factor that grows with another thing": (
        factor("slope", "value = 0.1\nmost = 2\nper = { depth_in = 1, above = 0 }\n"),
        ["acts on slope and grows with something else", "slope_pct = 1"],
    ),
    "factor without end": (
        factor("residue", "value = 0.1\nper = { residue_pct = 1, above = 20 }\n"),
        ["acts on residue and never ends", "most = ..."],
    ),
    "factor that may not grow": (
        factor("uneven", "value = 0.1\nmost = 2\n"), ["acts on uneven, which has no most"],
    ),
    "factor for some ground": (
        factor("uneven", "value = 0.1\nwhen = { tillage = ['no-till'] }\n"),
        ["acts on uneven, which does not go by tillage"],
    ),
    # laid together
    "bounce past reason": (
        factor("bounce", "value = 9000\nwhen = { tillage = 'tilled' }\n", "bounce-tilled"),
        ['rule "bounce-tilled" says value = 9000 lbf, which no row unit can carry'],
    ),
    "aim below 0": (
        HEAD + BASE.replace('"ours"', '"aim-fine-wet"').replace("90", "-9")
        + 'when = { texture_group = ["fine"], moisture = ["wet"] }\n',
        ['rule "aim-fine-wet" aims for -9 lb. Aim for 0 or more.'],
    ),
    "aim past its caps": (
        when('moisture = ["wet"]', CAP.replace("190", "80")),
        ['rule "aim-fine-wet" aims for 100 lb, but cap "ours" allows at most 80 lb'],
    ),
    "aim under its caps": (
        when('moisture = ["wet"]', CAP.replace("most", "least")),
        ['rule "aim-fine-wet" aims for 100 lb, but cap "ours" allows at least 190 lb'],
    ),
    "caps that cross": (
        when("speed_mph = { from = 8 }", CAP.replace("most = 190", "least = 90"))
        .replace("aim", "closing"),
        ['cap "ours" wants at least 90 lb where cap "closing-span" allows at most 80 lb'],
    ),
    "a cap that crosses itself": (
        f"{HEAD}{CAP}least = 195\n",
        ['cap "ours" wants at least 195 lb where cap "ours" allows at most 190 lb'],
    ),
    "a hole": (
        f'{HEAD}drop = ["aim-fine-wet"]\n',
        ["rulebook (aim.toml + coop.toml) has 3 faults", "fine, wet, tilled: no base"],
    ),
    "a double": (
        when('texture_group = ["fine"], moisture = ["wet"], tillage = ["no-till"]', BASE),
        ['has 1 fault', 'fine, wet, no-till: 2 base rules, "aim-fine-wet", "ours"'],
    ),
    "a swing without a part": (
        f'{SWING}drop = ["swing-uneven"]\n',
        ["swing rulebook", "has 1 fault", "uneven: no factor. Add one."],
    ),
    "a swing without a tillage": (
        f'{SWING}drop = ["bounce-no-till"]\n', ["bounce, no-till: no factor. Add one."],
    ),
    "a swing with a part twice": (
        factor("felt", "value = 1\nwhen = { system = 'hydraulic' }\n"),
        ['felt, hydraulic: 2 factors, "felt-hydraulic", "ours". Leave one.'],
    ),
    "a swing below 0": (
        factor("uneven", "value = -0.1\n", "swing-uneven"),
        ['rule "swing-uneven" has a value below 0'],
    ),
    "never too wet": (f'{STOPS}drop = ["too-wet"]\n', ["no stop rule", "Add one."]),
    "wetter and fitter": (
        when("moisture = ['wet'], smear_pct = { from = 60, below = 65 }", STOP, STOPS),
        ['rule "ours" says wait and ends at 65 % chance to smear, where the rules say test'],
    ),
    "a gap between test and stop": (
        f'{STOPS}drop = ["test-wet"]\n'
        + when("moisture = ['wet'], smear_pct = { from = 20, below = 60 }",
               STOP.replace("stop]]", "test]]"), ""),
        ['rule "ours" says test and ends at 60 % chance to smear, where the rules say fit'],
    ),
    "more than can be proved": (
        when(
            ", ".join(f"{each} = {{ from = 1, below = 2 }}" for each in (
                "speed_mph", "depth_in", "residue_pct", "fragments_pct", "slope_pct",
            )) + ", texture = 'clay', system = 'springs', dense = true", STOP, STOPS,
        ),
        ["look at too many things to be proved"],
    ),
}  # fmt: skip


@pytest.mark.parametrize("way", BROKEN)
def test_a_broken_file_is_told_in_words(page, way):
    text, words = BROKEN[way]
    message = fault_of(page(text))
    for word in words:
        assert word in message


def test_all_faults_of_a_file_are_told_at_once(page):
    text = (
        'decides = "aim"\nunit = "stone"\n'
        + BASE.replace('why = "We dug."\n', "")
        + 'when = { moisture = ["damp", "soggy"], tillage = ["no till"] }\n'
        + ADJUST.replace("ours", "other").replace("add = 5", 'add = "5"')
    )
    lines = fault_of(page(text)).splitlines()
    assert lines[0] == "coop.toml has 7 faults:"
    assert len(lines) == 8


def test_faults_of_several_files_are_told_at_once(page):
    message = fault_of(page("unit = 5", "one.toml"), page("[", "two.toml"))
    assert "one.toml has 3 faults" in message
    assert "two.toml is not TOML" in message


def test_every_hole_and_every_double_is_listed(page):
    text = (
        HEAD
        + 'drop = ["aim-coarse-dry", "aim-coarse-wet"]\n'
        + BASE
        + 'when = { moisture = "dry" }\n'
    )
    lines = fault_of(page(text)).splitlines()
    # WORKED: 3 holes at coarse wet; doubles at dry in 4 groups x 3 tillages; 1 heading.
    assert sum("no base rule" in line for line in lines) == 3
    assert sum("2 base rules" in line for line in lines) == 12
    assert len(lines) == 16


def test_a_missing_file_is_told_with_its_whole_name(tmp_path):
    message = fault_of(tmp_path / "gone.toml")
    assert str(tmp_path / "gone.toml") in message
    assert "There is no file" in message


def test_a_folder_is_not_a_file(tmp_path):
    assert "cannot be read" in fault_of(tmp_path)


def ids(rule_set):
    return [rule.id for rule in rule_set.rules]


def find(rule_set, id):
    [result] = [rule for rule in rule_set.rules if rule.id == id]
    return result


def test_a_known_id_takes_the_place_of_the_stock_rule(page):
    stock = read_rules()
    rules = read_rules([page(STOPS + STOP.replace("ours", "too-wet"))])
    assert ids(rules.stop) == ids(stock.stop)
    ours = find(rules.stop, "too-wet")
    assert (ours.title, ours.origin, ours.when) == ("Ours", "coop.toml", {})
    for name in ("aim", "most", "swing", "closing"):
        assert getattr(rules, name) == getattr(stock, name)


def test_a_new_id_comes_after_the_others(page):
    rules = read_rules([page(HEAD + ADJUST)])
    assert ids(rules.aim) == [*ids(read_rules().aim), "ours"]


def test_a_dropped_rule_is_gone_and_may_be_written_anew(page):
    gone = read_rules([page(f'{STOPS}drop = ["stony", "shallow"]\n')])
    assert set(ids(read_rules().stop)) - set(ids(gone.stop)) == {"stony", "shallow"}
    assert gone.dropped == ("stony", "shallow")
    again = f'{HEAD}drop = ["aim-fine-wet"]\n{BASE}'
    anew = read_rules([page(again + 'when = { texture_group = "fine", moisture = "wet" }\n')])
    assert find(anew.aim, "ours").when == {"texture_group": ("fine",), "moisture": ("wet",)}


def test_the_last_file_has_the_last_word(page):
    first = page(f"{HEAD}{ADJUST}", "first.toml")
    last = page(HEAD.replace("lbf", "N") + ADJUST.replace("add = 5", "add = 44"), "last.toml")
    rules = read_rules([first, last])
    ours = find(rules.aim, "ours")
    assert (ours.amount.fixed, ours.origin) == (44, "last.toml")
    assert rules.aim.unit == "lbf"


def test_a_factor_of_ones_own_is_what_swings(page):
    text = factor("bounce", "value = 70\nwhen = { tillage = 'no-till' }\n", "bounce-no-till")
    rules = read_rules([page(text)])
    assert swing_factors(rules).bounce_n["no-till"] == pytest.approx(70 * N_PER_LBF)
    flat = factor(
        "slope", "value = 0\nmost = 1\nper = { slope_pct = 1, above = 0 }\n", "swing-slope"
    )
    assert swing_factors(read_rules([page(flat)])).per_slope == 0


def test_plain_words_may_be_given_and_left_out(page):
    words = 'plain = "it is so"\nwarns = "Look."\nwarns_plain = "look out"\n'
    rules = read_rules([page(HEAD + ADJUST + words + CAP.replace("ours", "bare"))])
    ours, bare = find(rules.aim, "ours"), find(rules.aim, "bare")
    assert (ours.plain, ours.warns_plain) == ("it is so", "look out")
    assert (bare.plain, bare.warns_plain) == (None, None)


def test_the_soils_may_be_told_in_other_words(page):
    rules = read_rules([page(f'{HEAD}soils = {{ fine = "gumbo" }}\n')])
    assert rules.aim.soils == read_rules().aim.soils | {"fine": "gumbo"}


def test_a_closing_page_leaves_the_aim_alone(page):
    rules = read_rules([page(HEAD.replace("aim", "closing") + ADJUST.replace("= 5", "= -9"))])
    assert find(rules.closing, "ours").amount.fixed == pytest.approx(-9 * N_PER_LBF)
    assert rules.aim == read_rules().aim
    assert rules.closing.revised == rules.revised == datetime.date(2027, 3, 1)
    assert rules.aim.revised == datetime.date(2026, 11, 28)


def test_numbers_become_si_once(page):
    text = when(
        "speed_mph = { from = 5, below = 10 }, residue_pct = { below = 30 }, dense = false",
        ADJUST + "per = { depth_in = 0.5, above = 2 }\nmost = 15\n",
    )
    ours = find(read_rules([page(text)]).aim, "ours")
    assert ours.when == {
        "speed_mps": (pytest.approx(2.2352), pytest.approx(4.4704)),
        "residue_frac": (float("-inf"), pytest.approx(0.3)),
        "dense": (False,),
    }
    assert ours.amount.measure == "depth_m"
    assert ours.amount.over == pytest.approx(0.0508)
    assert ours.amount.step == pytest.approx(0.0127)
    assert ours.amount.each == pytest.approx(22.2411, abs=1e-4)  # 5 lbf
    assert ours.amount.most == pytest.approx(66.7233, abs=1e-4)  # 15 lbf


def test_sources_are_read_in_either_way_of_writing(page):
    plain = ADJUST.replace("judged", "measured")  # one source that backs the value is enough
    plain = plain.replace('source = [{ cite = "judgement" }]\n', "") + (
        '[[adjust.source]]\ncite = "Us (2026)"\nlink = "https://example.org"\nbacks = "value"\n'
        '[[adjust.source]]\ncite = "judgement"\n'
    )
    one, two = find(read_rules([page(HEAD + plain)]).aim, "ours").sources
    assert (one.cite, one.link, one.backs) == ("Us (2026)", "https://example.org", "value")
    assert two.cite == "judgement"


def test_caps_that_never_meet_may_cross(page):
    slow = CAP.replace('"ours"', '"slow"').replace("190", "140")
    fast = CAP.replace("most = 190", "least = 150")
    text = (
        f"{HEAD}{slow}when = {{ moisture = 'dry', speed_mph = {{ below = 5 }}, dense = false }}\n"
        f"{fast}when = {{ moisture = 'dry', speed_mph = {{ from = 5 }} }}\n"
    )
    assert "ours" in ids(read_rules([page(text)]).aim)


def test_a_byte_order_mark_and_windows_line_ends_are_read(page):
    text = (HEAD + ADJUST).replace("\n", "\r\n").encode("utf-8-sig")
    assert "ours" in ids(read_rules([page(text)]).aim)


def test_the_digest_is_of_every_byte_in_order(page):
    stock = b"".join(path.read_bytes() for path in STOCK)
    assert read_rules().sha256 == hashlib.sha256(stock).hexdigest()
    path = page(HEAD + ADJUST)
    assert read_rules([path]).sha256 == hashlib.sha256(stock + path.read_bytes()).hexdigest()


# ---- files of older releases -----------------------------------------------------------------

MARGIN = HEAD.replace("aim", "margin")
SHARE = HEAD.replace("aim", "closing").replace("lbf", "share")

# WORKED by hand: 20 + 60 × share of the span; an addition 60 × share alone.
OLDER = {
    "the head": (f"{MARGIN}", ['decides = "margin" is no more', 'decides = "aim"', '"swing"']),
    "a base rule": (
        f"{MARGIN}{BASE}".replace("ours", "medium-dry"),
        ['rule "medium-dry": its aim, 90, goes into', 'id "aim-medium-dry"', "5 mph and 2 in"],
    ),
    "a cap": (f"{MARGIN}{CAP}", ['its most, 190, goes', 'decides = "most"', "Leave its least"]),
    "a stop": (
        f"{MARGIN}{STOP}when = {{ past_plastic_limit = true }}\n",
        ["when.past_plastic_limit: the odds decide", "smear_pct = { from = 75 }",
         'goes into a file with decides = "stop"'],
    ),
    "speed": (
        f"{MARGIN}{ADJUST}per = {{ speed_mph = 1, above = 5 }}\nwhen = {{ tillage = 'no-till' }}\n",
        ['its add, 5, has no place: speed acts on the swing', 'acts = "speed"'],
    ),
    "tillage": (f"{MARGIN}{ADJUST}when = {{ tillage = 'no-till' }}\n", ['acts = "bounce"']),
    "depth": (f"{MARGIN}{ADJUST}when = {{ depth_in = {{ from = 3 }} }}\n", ['acts = "depth"']),
    "a headland": (f"{MARGIN}{ADJUST}when = {{ headland = true }}\n", ['acts = "traffic"']),
    "another addition": (
        f"{MARGIN}{ADJUST}when = {{ dense = true }}\n", ['its add, 5, goes into', '"aim"'],
    ),
    "a remark": (
        f"{MARGIN}{ADJUST}".replace("add = 5", 'add = 0\nwarns = "Look."'),
        ["it only warns: write it as a [[warn]]"],
    ),
    "rounding": (f"rounding = 10\n{HEAD}", ["rounding = 10", "rounded to 5 lb", "Leave it out"]),
    "a share": (
        f"{SHARE}{BASE}".replace("90", "0.55") + ADJUST.replace("= 5", "= -0.15"),
        ['unit = "share": closing is decided in pounds', "aim = 0.55 is 53 lb now",
         "add = -0.15 is -9 lb now"],
    ),
    "a cap of shares": (f"{SHARE}{CAP}".replace("190", "0.7"), ["most = 0.7 is 62 lb now"]),
}  # fmt: skip


@pytest.mark.parametrize("way", OLDER)
def test_an_older_file_is_refused_with_what_to_change(page, way):
    text, words = OLDER[way]
    message = fault_of(page(text))
    assert message.startswith("coop.toml, of an older release, has ")
    for word in words:
        assert word in message


def test_older_words_of_one_meaning_are_read(page):
    text = when('wetness = ["dry"], system = ["looped-air", "springs"]')
    ours = find(read_rules([page(text)]).aim, "ours")
    assert ours.when == {"moisture": ("dry",), "system": ("closed-loop-air", "springs")}


def test_an_older_word_beside_the_new_one_is_a_fault(page):
    assert "when.wetness is not a key" in fault_of(page(when('wetness = "dry", moisture = "wet"')))
