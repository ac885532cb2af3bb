"""What is written is read again, to the last bit."""

import datetime
import random
from dataclasses import replace

import pytest

from zoneplan.rules.read import STOCK, Page, parse
from zoneplan.rules.rule import Amount, Rule, Source
from zoneplan.rules.words import MEASURES, si_per
from zoneplan.rules.write import as_written, new_file, with_rule

PAGES = [parse(path.name, path.read_bytes(), "stock") for path in STOCK]
RULE = Rule(
    "ours", "adjust", "Ours", {}, "We dug.", (Source("judgement"),), "judged", Amount(fixed=1.0)
)
AIM = Page("ours.toml", "aim", "lbf", datetime.date(2027, 3, 1), (RULE,), ())


def rules_toml(page):
    text = new_file(page.decides, page.unit, page.revised)
    for rule in page.rules:
        text = with_rule(text, rule.kind, as_written(rule, page.unit), page.revised)
    return text


def again(page):
    """What is read of a page's rules, once they are written one by one."""
    read = parse(page.name, rules_toml(page).encode(), page.rules[0].origin)
    assert (read.drop, read.soils) == ((), {})  # the app writes none
    return replace(read, drop=page.drop, soils=page.soils)


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_a_stock_file_is_read_again(page):
    assert again(page) == page
    for rule in page.rules:  # each alone, too
        assert again(replace(page, rules=(rule,))).rules == (rule,)


@pytest.mark.parametrize(("path", "page"), zip(STOCK, PAGES, strict=True))
def test_it_is_laid_out_as_the_stock_files_are(path, page):
    # One source may stand on the line of its key there, and 1.0 is written as 1.
    text = path.read_text("utf-8")
    _, *stock = text[text.index(f"\n[[{page.rules[0].kind}]]") + 1 :].splitlines()
    written = set(rules_toml(page).splitlines())
    assert [each for each in stock if each[:1] not in ("", "#") and each not in written] == [
        each for each in stock if each.startswith("source = [{") or each == "value = 1.0"
    ]


# As a person may type them. A line's end is a blank once it is read, and blanks are one.
ODD = [
    'He said "no", then \\"yes\\"',
    "C:\\new\\table",
    "two\nlines\tand\r\nmore",
    "'''three''' and \"\"\"three\"\"\"",
    "# no comment ] } = [[base]]",
    "Crêt-du-Noyer, 千葉, 🌽, \u202eright to left",
    "bell \x07, nothing \x00, delete \x7f, escape \x1b",
    "<script>alert(1)</script> **bold**",
    "\ufeffmark",
]


@pytest.mark.parametrize("odd", ODD, ids=range(len(ODD)))
def test_odd_words_are_read_again(odd):
    source = Source(odd, link=odd, backs="value")
    rule = replace(RULE, id=odd, title=odd, why=odd, warns=odd, sources=(source,))
    rule = replace(rule, plain=odd, warns_plain=odd)
    words = " ".join(odd.split())
    (read,) = again(replace(AIM, rules=(rule,))).rules
    assert (read.id, read.title, read.why, read.warns) == (words,) * 4
    assert (read.plain, read.warns_plain) == (words,) * 2
    assert read.sources == (Source(words, words, "value"),)


def test_any_number_is_read_again_to_the_last_bit():
    numbers = random.Random(6)
    for measure in MEASURES.values():
        for unit in ("lbf", "N", "kgf"):
            si = si_per(unit)
            amount, most, step, over = (
                numbers.choice([400, 40, 1e-4]) * (1 - numbers.random()) for _ in range(4)
            )
            grows = Amount(
                each=-amount * si,
                measure=measure.field,
                over=over * measure.si,
                step=step * measure.si,
                most=most * si,
            )
            low = numbers.uniform(-50, 50)
            between = {measure.field: (low * measure.si, (low + step) * measure.si)}
            rules = (
                replace(RULE, amount=grows, when=between | {"headland": (False,)}),
                replace(RULE, id="cap", kind="cap", amount=None, least=numbers.uniform(0, 9) * si),
            )
            page = replace(AIM, unit=unit, rules=rules)
            assert again(page) == page


def test_every_key_has_its_line():
    rule = replace(
        RULE,
        when={"moisture": ("wet",), "depth_m": (float("-inf"), 0.0254), "dense": (True,)},
        amount=Amount(
            each=4 * si_per("lbf"), measure="depth_m", over=0.0508, step=0.0127, most=40.0
        ),
        warns="Look.",
        plain="we dug, and saw",
        warns_plain="look out",
        sources=(Source("judgement of AB, 2026-11-25"), Source("Us (2026)", "https://a.b")),
    )
    page = replace(AIM, rules=(rule,))
    # WORKED: as a person would write it by hand; 40 N / 4.4482216152605 N per lbf.
    _, text = rules_toml(page).split("\n\n", 1)
    assert (
        text
        == """\
decides = "aim"
unit = "lbf"
revised = 2027-03-01

[[adjust]]
id = "ours"
title = "Ours"
when = { moisture = ["wet"], depth_in = { below = 1 }, dense = true }
add = 4
per = { depth_in = 0.5, above = 2 }
most = 8.99235772398842
why = "We dug."
plain = "we dug, and saw"
warns = "Look."
warns_plain = "look out"
confidence = "judged"
source = [
    { cite = "judgement of AB, 2026-11-25" },
    { cite = "Us (2026)", link = "https://a.b", backs = "direction" },
]
"""
    )
