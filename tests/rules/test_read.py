"""Each way to break a rules file, and the words that its message must contain."""

import datetime
import hashlib

import pytest

from zoneplan.errors import RuleError
from zoneplan.rules.read import STOCK, read_rules
from zoneplan.units import N_PER_LBF

HEAD = 'decides = "margin"\nunit = "lbf"\nrevised = 2027-03-01\n'
TAIL = 'title = "Ours"\nwhy = "We dug."\nconfidence = "judged"\nsource = [{ cite = "judgement" }]\n'
BASE = f'[[base]]\nid = "ours"\naim = 90\n{TAIL}'
ADJUST = f'[[adjust]]\nid = "ours"\nadd = 5\n{TAIL}'
CAP = f'[[cap]]\nid = "ours"\nmost = 190\n{TAIL}'
STOP = f'[[stop]]\nid = "ours"\n{TAIL}'


@pytest.fixture
def page(tmp_path):
    """Write one rules file."""

    def write(text, name="coop.toml"):
        path = tmp_path / name
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return path

    return write


def told(*paths):
    with pytest.raises(RuleError) as caught:
        read_rules(paths)
    return str(caught.value)


def when(text, rule=ADJUST):
    return f"{HEAD}{rule}when = {{ {text} }}\n"


BROKEN = {
    # the file
    "latin-1": ((HEAD + "# Schäfer").encode("latin-1"), ["coop.toml", "UTF-8", "byte"]),
    "utf-16": ((HEAD + ADJUST).encode("utf-16"), ["UTF-8"]),
    "not TOML": (f"{HEAD}[[base]\n", ["coop.toml is not TOML", "line 4"]),
    "a key twice": (f'{HEAD}unit = "N"\n', ["not TOML", "line 4"]),
    "nested too deep": (f"{HEAD}rounding = {'[' * 5000}", ["not TOML"]),
    "no date": ('decides = "margin"\nunit = "lbf"\n', ["no revised", "2026-11-20"]),
    "date in quotes": (HEAD.replace("2027-03-01", '"2027"'), ["revised", '"2027" is not a date']),
    "date with a time": (HEAD.replace("2027-03-01", "2027-03-01T07:00:00"), ["not a date"]),
    "no unit": ('decides = "margin"\nrevised = 2027-03-01\n', ["no unit"]),
    "unit unknown": (HEAD.replace("lbf", "stone"), ['"stone" is no unit', "lbf"]),
    "unit of another kind": (HEAD.replace("lbf", "psi"), ['"psi" is no unit for margin']),
    "margin as a share": (HEAD.replace("lbf", "share"), ['"share" is no unit for margin']),
    "closing in pounds": (HEAD.replace("margin", "closing"), ['"lbf" is no unit for closing']),
    "no decides": ('unit = "lbf"\nrevised = 2027-03-01\n', ["no decides", "margin or closing"]),
    "decides what": (HEAD.replace("margin", "margn"), ['"margn"', "Use margin or closing"]),
    "top-level key unknown": (f"{HEAD}[[bases]]\n", ["bases is not a key", 'mean "base"?']),
    "one bracket": (HEAD + BASE.replace("[[base]]", "[base]"), ["base", "two brackets"]),
    "rounding of nothing": (f"{HEAD}rounding = 0\n", ["rounding", "above 0"]),
    "drop is no list": (f'{HEAD}drop = "deep"\n', ["drop", '"deep" is not a list']),
    "drop of a stranger": (f'{HEAD}drop = ["depe"]\n', ['"depe" is no rule', 'mean "deep"?']),
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
    "key of another kind": (f"{HEAD}{STOP}add = 9\n", ["add is not a key here"]),
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
    "wetness unknown": (
        when('wetness = ["damp"]'),
        ['rule "ours", when.wetness: "damp" is not a wetness. Use dry, moist or wet.'],
    ),
    "texture group unknown": (
        when('texture_group = ["heavy"]'),
        ['"heavy" is not a texture group', "moderately fine or fine"],
    ),
    "texture unknown": (when('texture = "silty loam"'), ['"silty loam" is not a texture']),
    "tillage unknown": (when('tillage = ["no till"]'), ['"no till" is not a tillage', "no-till"]),
    "system unknown": (when('system = ["bags"]'), ['"bags" is not a system', "set-air"]),
    "when is a word": (f'{HEAD}{ADJUST}when = "wet"\n', ["when", "not a table"]),
    "when key misspelt": (when('wetnes = ["wet"]'), ["when.wetnes", 'mean "wetness"?']),
    "when in another unit": (when("speed_kmh = { from = 8 }"), ["speed_kmh", 'mean "speed_mph"']),
    "base looks too far": (
        when("dense = true", BASE),
        ["when.dense is not a key here", "texture_group, wetness or tillage"],
    ),
    "flag is a word": (when('headland = "yes"'), ['"yes" is neither true nor false']),
    "empty list": (when("wetness = []"), ["an empty list never holds"]),
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
    "share of hundreds": (
        HEAD.replace("margin", "closing").replace("lbf", "share") + ADJUST,
        ["add = 5", "no share"],
    ),
    # laid together
    "aim past its caps": (
        HEAD + BASE.replace('"ours"', '"fine-wet"').replace("90", "120")
        + 'when = { texture_group = ["fine"], wetness = ["wet"] }\n',
        ['rule "fine-wet" aims for 120 lb, but cap "band-wet" allows at most 110 lb'],
    ),
    "aim under its caps": (
        HEAD + BASE.replace('"ours"', '"fine-wet"').replace("90", "20")
        + 'when = { texture_group = ["fine"], wetness = ["wet"] }\n',
        ['rule "fine-wet" aims for 20 lb, but cap "band-wet" allows at least 40 lb'],
    ),
    "caps that cross": (
        when("speed_mph = { from = 8 }, wetness = ['wet']", CAP.replace("most", "least")),
        ['cap "ours" wants at least 190 lb where cap "band-wet" allows at most 110 lb'],
    ),
    "a cap that crosses itself": (
        f"{HEAD}{CAP}least = 195\n",
        ['cap "ours" wants at least 195 lb where cap "ours" allows at most 190 lb'],
    ),
    "a hole": (
        f'{HEAD}drop = ["fine-wet"]\n',
        ["rulebook (margin.toml + coop.toml) has 3 faults", "fine, wet, tilled: no base"],
    ),
    "a double": (
        when('texture_group = ["fine"], wetness = ["wet"], tillage = ["no-till"]', BASE),
        ['has 1 fault', 'fine, wet, no-till: 2 base rules, "fine-wet", "ours"'],
    ),
}  # fmt: skip


@pytest.mark.parametrize("way", BROKEN)
def test_a_broken_file_is_told_in_words(page, way):
    text, words = BROKEN[way]
    message = told(page(text))
    for word in words:
        assert word in message


def test_all_faults_of_a_file_are_told_at_once(page):
    text = (
        'decides = "margin"\nunit = "stone"\n'
        + BASE.replace('why = "We dug."\n', "")
        + 'when = { wetness = ["damp", "soggy"], tillage = ["no till"] }\n'
        + ADJUST.replace("ours", "other").replace("add = 5", 'add = "5"')
    )
    lines = told(page(text)).splitlines()
    assert lines[0] == "coop.toml has 7 faults:"
    assert len(lines) == 8


def test_faults_of_several_files_are_told_at_once(page):
    message = told(page("unit = 5", "one.toml"), page("[", "two.toml"))
    assert "one.toml has 3 faults" in message
    assert "two.toml is not TOML" in message


def test_every_hole_and_every_double_is_listed(page):
    text = HEAD + 'drop = ["coarse-dry", "coarse-wet"]\n' + BASE + 'when = { wetness = "dry" }\n'
    lines = told(page(text)).splitlines()
    # WORKED: 3 holes at coarse wet; doubles at dry in 4 groups x 3 tillages; 1 heading.
    assert sum("no base rule" in line for line in lines) == 3
    assert sum("2 base rules" in line for line in lines) == 12
    assert len(lines) == 16


def test_a_missing_file_is_told_with_its_whole_name(tmp_path):
    message = told(tmp_path / "gone.toml")
    assert str(tmp_path / "gone.toml") in message
    assert "There is no file" in message


def test_a_folder_is_not_a_file(tmp_path):
    assert "cannot be read" in told(tmp_path)


def ids(rule_set):
    return [rule.id for rule in rule_set.rules]


def find(rule_set, id):
    [found] = [rule for rule in rule_set.rules if rule.id == id]
    return found


def test_a_known_id_takes_the_place_of_the_stock_rule(page):
    stock = read_rules()
    rules = read_rules([page(HEAD + ADJUST.replace("ours", "no-till"))])
    assert ids(rules.margin) == ids(stock.margin)
    ours = find(rules.margin, "no-till")
    assert (ours.title, ours.origin, ours.when) == ("Ours", "coop.toml", {})
    assert ours.amount.fixed == 5 * N_PER_LBF
    assert rules.closing == stock.closing


def test_a_new_id_comes_after_the_others(page):
    rules = read_rules([page(HEAD + ADJUST)])
    assert ids(rules.margin) == [*ids(read_rules().margin), "ours"]


def test_a_dropped_rule_is_gone_and_may_be_written_anew(page):
    gone = read_rules([page(f'{HEAD}drop = ["deep", "dense"]\n')])
    assert set(ids(read_rules().margin)) - set(ids(gone.margin)) == {"deep", "dense"}
    anew = read_rules([page(f'{HEAD}drop = ["fine-wet"]\n{BASE}'.replace("aim = 90", "aim = 50")
                            + 'when = { texture_group = "fine", wetness = "wet" }\n')])  # fmt: skip
    assert find(anew.margin, "ours").when == {"texture_group": ("fine",), "wetness": ("wet",)}


def test_the_last_file_has_the_last_word(page):
    first = page(f"rounding = 10\n{HEAD}{ADJUST}", "first.toml")
    last = page(HEAD.replace("lbf", "N") + ADJUST.replace("add = 5", "add = 44"), "last.toml")
    rules = read_rules([first, last])
    ours = find(rules.margin, "ours")
    assert (ours.amount.fixed, ours.origin) == (44, "last.toml")
    assert rules.margin.rounding == 10 * N_PER_LBF
    assert rules.margin.unit == "lbf"


def test_plain_words_may_be_given_and_left_out(page):
    words = 'plain = "it is so"\nwarns = "Look."\nwarns_plain = "look out"\n'
    rules = read_rules([page(HEAD + ADJUST + words + CAP.replace("ours", "bare"))])
    ours, bare = find(rules.margin, "ours"), find(rules.margin, "bare")
    assert (ours.plain, ours.warns_plain) == ("it is so", "look out")
    assert (bare.plain, bare.warns_plain) == (None, None)


def test_the_soils_may_be_told_in_other_words(page):
    rules = read_rules([page(f'{HEAD}soils = {{ fine = "gumbo" }}\n')])
    assert rules.margin.soils == read_rules().margin.soils | {"fine": "gumbo"}


def test_a_closing_page_leaves_the_margin_alone(page):
    head = HEAD.replace("margin", "closing").replace("lbf", "share")
    rules = read_rules([page(head + ADJUST.replace("add = 5", "add = -0.15"))])
    assert find(rules.closing, "ours").amount.fixed == -0.15
    assert rules.margin == read_rules().margin
    assert rules.closing.revised == rules.revised == datetime.date(2027, 3, 1)
    assert rules.margin.revised == datetime.date(2026, 11, 20)


def test_numbers_become_si_once(page):
    text = when(
        "speed_mph = { from = 5, below = 10 }, residue_pct = { below = 30 }, dense = false",
        ADJUST + "per = { depth_in = 0.5, above = 2 }\nmost = 15\n",
    )
    ours = find(read_rules([page(text)]).margin, "ours")
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
    one, two = find(read_rules([page(HEAD + plain)]).margin, "ours").sources
    assert (one.cite, one.link, one.backs) == ("Us (2026)", "https://example.org", "value")
    assert two.cite == "judgement"


def test_caps_that_never_meet_may_cross(page):
    slow = CAP.replace('"ours"', '"slow"').replace("190", "100")
    fast = CAP.replace("most = 190", "least = 120")
    text = (
        f"{HEAD}{slow}when = {{ wetness = 'dry', speed_mph = {{ below = 5 }}, dense = false }}\n"
        f"{fast}when = {{ wetness = 'dry', speed_mph = {{ from = 5 }} }}\n"
    )
    assert "ours" in ids(read_rules([page(text)]).margin)


def test_a_byte_order_mark_and_windows_line_ends_are_read(page):
    text = (HEAD + ADJUST).replace("\n", "\r\n").encode("utf-8-sig")
    assert "ours" in ids(read_rules([page(text)]).margin)


def test_the_digest_is_of_every_byte_in_order(page):
    stock = b"".join(path.read_bytes() for path in STOCK)
    assert read_rules().sha256 == hashlib.sha256(stock).hexdigest()
    path = page(HEAD + ADJUST)
    assert read_rules([path]).sha256 == hashlib.sha256(stock + path.read_bytes()).hexdigest()
