"""A book is planned on a real cluster on this machine, and the plans are those of this machine."""

import pytest

pytest.importorskip("distributed")

from tests.book.county import THREE, book_of
from tests.test_cluster import cluster, ready
from zoneplan.book.fields import State, fields
from zoneplan.book.planning import plan_all
from zoneplan.book.plans import plan_document
from zoneplan.errors import ZoneplanError

__all__ = ["cluster"]  # a fixture


@pytest.mark.slow
def test_a_cluster_plans_a_book_as_this_machine_does(cluster, address, tmp_path):
    cluster.add()
    ready(cluster, 1)
    with book_of(address, tmp_path, *THREE) as book:
        report = plan_all(book, who="Ann", on=cluster.address)
        assert (len(report.planned), report.failed) == (3, ())
        there = [plan_document(book, field.plan_id) for field in fields(book)]
        report = plan_all(book, who="Ann", workers=0, again=True)
        assert not report.moved
        assert there == [plan_document(book, field.plan_id) for field in fields(book)]


@pytest.mark.slow
def test_a_cluster_that_does_not_answer_is_told_and_nothing_is_lost(tmp_path):
    with book_of(str(tmp_path / "season.book"), tmp_path, *THREE) as book:
        with pytest.raises(ZoneplanError, match="No cluster answers"):
            plan_all(book, who="Ann", on="tcp://127.0.0.1:1")
        assert {field.state for field in fields(book)} == {State.TO_PLAN}
