"""All that a landowner is told, held to a list of words that he need not know."""

import io
from typing import Any

import pytest
from pypdf import PdfReader

from tests.export.test_webpage import demos, page
from tests.helpers.trade_words import trade_in
from tests.say.test_notices import values_of
from zoneplan.export.sheets.printed import landowner_pdf
from zoneplan.notices import notice
from zoneplan.plan.model import Plan
from zoneplan.rules.read import read_rules
from zoneplan.say.landowner import LANDOWNER, landowner_words

RULES = read_rules()


def without_names(text: str, plan: Plan) -> str:
    """A planter and a field are called what their owners call them."""
    return text.replace(plan.machine.name, "").replace(plan.field.name, "")


def test_a_word_of_the_trade_is_found() -> None:
    assert trade_in("A Margin of 20 lb at refill") == ["margin", "refill"]
    assert trade_in("how hard the wheels press") == []


def test_his_page_says_none() -> None:
    for plan in demos().values():
        assert trade_in(without_names(page(plan).text(), plan)) == []


def test_his_printed_page_says_none() -> None:
    for plan in demos().values():
        pages = PdfReader(io.BytesIO(landowner_pdf(plan))).pages
        text = " ".join(" ".join(sheet.extract_text() for sheet in pages).split())
        assert "What is set, and what that does here" in text
        assert trade_in(without_names(text, plan)) == []


@pytest.mark.parametrize("code", LANDOWNER)
def test_his_notices_say_none(code: str) -> None:
    for turn in range(6):
        words = landowner_words(notice(code, **values_of(code, turn)), "us")
        assert words
        assert trade_in(words) == []


@pytest.mark.parametrize("rule", RULES.every, ids=lambda rule: rule.id)
def test_the_rules_plain_words_say_none(rule: Any) -> None:
    for words in filter(None, (rule.plain, rule.warns_plain)):
        assert trade_in(words) == []


def test_his_words_for_soils_say_none() -> None:
    assert [words for words in RULES.aim.soils.values() if trade_in(words)] == []
