"""A map answer, a table answer and an edition answer beside each other are one survey."""

import json

import pytest

from tests.helpers.survey_tables import SurveyTables
from zoneplan.demo import demo_field
from zoneplan.errors import LayerError
from zoneplan.field.outline import read_field
from zoneplan.field.service.ground import asked_outline
from zoneplan.field.service.protocol import map_query, tables_query, vintage_query
from zoneplan.field.survey.parts import is_survey
from zoneplan.field.survey.read import read_survey


@pytest.fixture(scope="module")
def answers():
    """What the service answers for the creek field, as the files that a person would keep."""
    tables = SurveyTables([demo_field("creek").survey])
    outline = asked_outline(read_field(demo_field("creek").boundary))
    by_name = {"map": map_query(outline)}
    columns, rows = tables.run(by_name["map"])
    keys = sorted({row[columns.index("mukey")] for row in rows})
    by_name |= {"tables": tables_query(keys), "edition": vintage_query(["ZZ901"])}
    answered = {name: tables.run(query) for name, query in by_name.items()}
    return {name: json.dumps({"Table": [head, *rows]}) for name, (head, rows) in answered.items()}


def laid(folder, answers, *names):
    for name in names:
        (folder / f"{name}.json").write_text(answers[name])
    return folder


def facts_of(survey):
    return {facts.named: facts for facts in survey.ground["facts"]}


@pytest.mark.parametrize("names", [("map", "tables"), ("map", "tables", "edition")])
def test_they_are_read_as_one(tmp_path, answers, names):
    folder = laid(tmp_path, answers, *names)
    assert is_survey(folder)
    survey = read_survey(folder)
    whole = read_survey(demo_field("creek").survey)
    assert facts_of(survey) == {
        name: facts for name, facts in facts_of(whole).items() if name in facts_of(survey)
    }
    assert len(facts_of(survey)) == 7
    editions = [note for note in survey.notes if note.code == "survey-vintage"]
    assert [edition["refreshed"] for edition in editions] == ["2025-09-04"] * ("edition" in names)


def test_an_edition_from_the_service_says_no_day_that_it_was_asked(tmp_path, answers):
    survey = read_survey(laid(tmp_path, answers, "map", "tables", "edition"))
    (edition,) = (note for note in survey.notes if note.code == "survey-vintage")
    assert (edition["asked"], edition["asked_of"]) == (None, None)


@pytest.mark.parametrize(
    ("names", "words"),
    [
        (("map",), "no tables"),
        (("tables",), "no map"),
        (("edition",), "holds no soil survey"),
        (("map", "edition"), "no tables"),
        (("tables", "edition"), "no map"),
    ],
)
def test_what_is_missing_is_told(tmp_path, answers, names, words):
    folder = laid(tmp_path, answers, *names)
    with pytest.raises(LayerError, match=words):
        read_survey(folder)


def test_two_table_answers_are_two_surveys(tmp_path, answers):
    folder = laid(tmp_path, answers, "map", "tables")
    (folder / "again.json").write_text(answers["tables"])
    with pytest.raises(LayerError, match="more than one soil survey"):
        read_survey(folder)


def test_what_an_edition_says_is_cut_and_does_nothing(tmp_path, answers):
    answer = json.loads(answers["edition"])
    answer["Table"][1][1] = "\x1b[2J" + "x" * 100_000
    folder = laid(tmp_path, answers | {"edition": json.dumps(answer)}, "map", "tables", "edition")
    (edition,) = (note for note in read_survey(folder).notes if note.code == "survey-vintage")
    assert len(edition["area_name"]) <= 80
    assert edition["area_name"].startswith("\\x1b[2J")
