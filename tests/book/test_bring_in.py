"""Fields are brought in from one file: looked over first, and again with next year's."""

import pytest
import sqlalchemy as sa

from tests.book.county import NAMES, THREE, book_of, county, square
from zoneplan.book.bring_in import bring_in, look_over
from zoneplan.book.fields import boundaries_of, fields, find_field
from zoneplan.book.history import history
from zoneplan.book.opening import new_book
from zoneplan.book.outlines import ONE_GROWER, Columns, Problem
from zoneplan.errors import BookError

HARD = (
    "Ann/“Bob” 'n' \"Co\" 🌽",
    "Müller\\..\\..",
    "x" * 300,
    "Zoë\u202eevil",
    "O'Neil; DROP TABLE fields",
)


def brought(book, tmp_path, *rows, columns=NAMES, **options):
    """Look over a file of these rows."""
    return look_over(book, county(tmp_path / "next.geojson", *rows), columns, **options)


def problems(delivery):
    """What cannot be kept, by the numbers of the outlines."""
    return {(remark.outline.number, remark.problem) for remark in delivery.problems}


def test_fields_come_with_grower_farm_and_area(address, tmp_path):
    with book_of(address, tmp_path, *THREE, soil=False, planter=False) as book:
        listed = fields(book)
        assert [field.path for field in listed] == [
            "Ann / Home / North",
            "Ann / Home / South",
            "Bob / Hill / North",
        ]
        # WORKED. A square is 0.9 x 0.0028 degrees east and 0.9 x 0.00205 north; at 42.54 degrees
        # a degree is 82,158 m east and 111,080 m north: 207.0 m x 204.9 m = 4.243 ha.
        assert listed[0].area_ha == pytest.approx(4.243, rel=2e-3)
        assert boundaries_of(book, [listed[0].id])[listed[0].id].bounds[0] == pytest.approx(
            square(0)[0][0]
        )
        assert {field.state for field in listed} == {"to plan"}
        assert [event.did for event in history(book)].count("field added") == 3


def test_without_columns_we_tell_what_there_is_and_keep_nothing(address, tmp_path):
    with new_book(address) as book:
        with pytest.raises(BookError) as caught:
            brought(book, tmp_path, *THREE, columns=Columns())
        assert "owner: 2 values, such as Ann, Bob" in str(caught.value)
        assert caught.value.example == "grower owner, farm farm, field name"
        with pytest.raises(BookError, match=r'no column grover.*|Did you mean|"owner"'):
            brought(book, tmp_path, *THREE, columns=Columns("ownr", None, "name"))
        with pytest.raises(BookError, match="Nothing says what the fields"):
            brought(book, tmp_path, *THREE, columns=Columns("owner"))
        assert fields(book) == []


def test_a_book_of_one_grower_needs_no_columns(address, tmp_path):
    rows = [(square(place),) for place in range(3)]
    with new_book(address) as book:
        file = county(tmp_path / "plain.geojson", *rows, columns=())
        bring_in(book, look_over(book, file, Columns()), who="Ann")
        assert [field.path for field in fields(book)] == [
            f"{ONE_GROWER} / Field {number}" for number in (1, 2, 3)
        ]


def test_columns_are_found_in_any_case_and_one_grower_can_be_named(address, tmp_path):
    with new_book(address) as book:
        names = Columns(None, None, "NAME")
        delivery = brought(book, tmp_path, *THREE[:2], columns=names, one_grower="Cy")
        bring_in(book, delivery, who="Ann")
        assert [field.path for field in fields(book)] == ["Cy / North", "Cy / South"]


def test_everything_wrong_is_told_at_once_and_nothing_is_kept(address, tmp_path):
    bow_tie = square(5)
    bow_tie[1], bow_tie[2] = bow_tie[2], bow_tie[1]
    rows = (
        ("Ann", "Home", "North", square(0)),
        ("Ann", "Home", "North", square(1)),  # a name twice
        ("Bob", "Hill", "West", square(2)),
        ("Cy", "Dale", "Mine too", square(2, inset=0.10)),  # Bob's ground
        ("Ann", "Home", "Loop", bow_tie),
        ("Ann", "Home", "Yard", square(6, inset=0.499)),  # WORKED: 0.5 m x 0.5 m, below 100 m²
        ("", "Home", "Nobody's", square(7)),
        ("Ann", "Home", "Good", square(8)),
    )
    with new_book(address) as book:
        delivery = brought(book, tmp_path, *rows)
        assert problems(delivery) == {
            (1, Problem.DOUBLE),
            (2, Problem.DOUBLE),
            (3, Problem.CLAIMED),
            (4, Problem.CLAIMED),
            (5, Problem.BROKEN),
            (6, Problem.TINY),
            (7, Problem.NAMELESS),
        }
        with pytest.raises(BookError, match="7 of 8 outlines cannot be kept"):
            bring_in(book, delivery, who="Ann")
        assert fields(book) == []
        bring_in(book, delivery, who="Ann", leave_out=True)
        assert [field.name for field in fields(book)] == ["Good"]


def test_ground_of_the_book_is_not_claimed_by_another(address, tmp_path):
    with book_of(address, tmp_path, *THREE, soil=False, planter=False) as book:
        delivery = brought(book, tmp_path, ("Cy", "Dale", "Mine", square(0)))
        (remark,) = delivery.problems
        assert remark.problem is Problem.CLAIMED
        assert "Ann / Home / North, of the book" in remark.words


@pytest.mark.parametrize(
    ("owner", "common", "claimed"),
    [("Bob", 0.10, True), ("Bob", 0.02, False), ("Ann", 0.10, False)],
)
def test_ground_in_two_outlines_counts_from_a_twentieth(address, tmp_path, owner, common, claimed):
    (west, south), (east, _), (_, north), *_ = square(0)
    # WORKED: an outline as wide as another, moved by all but a share of it, has that in common.
    start, end = west + (1 - common) * (east - west), east + (1 - common) * (east - west)
    beside = [[start, south], [end, south], [end, north], [start, north], [start, south]]
    rows = (("Ann", "Home", "North", square(0)), (owner, "Hill", "West", beside))
    with new_book(address) as book:
        delivery = brought(book, tmp_path, *rows)
    assert problems(delivery) == ({(n, Problem.CLAIMED) for n in (1, 2)} if claimed else set())
    assert len(delivery.remarks) == (0 if common < 0.05 else 2)  # of one grower it is told


def test_one_outline_under_two_names_of_a_grower_is_a_double(address, tmp_path):
    with new_book(address) as book:
        rows = (("Ann", "Home", "North", square(0)), ("Ann", "Home", "South", square(0)))
        assert problems(brought(book, tmp_path, *rows)) == {
            (1, Problem.DOUBLE),
            (2, Problem.DOUBLE),
        }


@pytest.mark.parametrize("gone", [True, False])
def test_ground_that_is_planted_no_more_is_free(address, tmp_path, gone):
    with book_of(address, tmp_path, *THREE, soil=False, planter=False) as book:
        rows = (*THREE[:2], ("Cy", "Dale", "West", square(2)))
        delivery = brought(book, tmp_path, *rows, gone=gone)
        assert problems(delivery) == (set() if gone else {(3, Problem.CLAIMED)})


def test_next_years_file_tells_new_moved_renamed_and_gone(address, tmp_path):
    with book_of(address, tmp_path, *THREE, soil=False, planter=False) as book:
        before = {field.path: field for field in fields(book)}
        rows = (
            ("Ann", "Home", "North", square(0, inset=0.10)),  # moved
            ("Ann", "Home", "Brook", square(1)),  # South, renamed
            ("Ann", "Home", "East", square(3)),  # new
            ("Cy", "Dale", "Far", square(4)),  # new, and Bob has left
        )
        delivery = brought(book, tmp_path, *rows, gone=True)
        assert [one.name for one in delivery.new] == ["East", "Far"]
        ((field, one, off_ha),) = delivery.moved
        # WORKED. From 0.9 to 0.8 of a side: (0.81 - 0.64) / 0.81 of 4.243 ha = 0.8905 ha less.
        assert (field.name, one.name) == ("North", "North")
        assert off_ha == pytest.approx(0.8905, rel=2e-3)
        assert [(field.name, one.name) for field, one in delivery.renamed] == [("South", "Brook")]
        assert [field.path for field in delivery.gone] == ["Bob / Hill / North"]
        assert delivery.remarks == ()  # Brook does not lie on South, which it was
        bring_in(book, delivery, who="Ann", gone=True)
        after = {field.path: field for field in fields(book)}
        assert {*after} == {
            "Ann / Home / North",
            "Ann / Home / Brook",
            "Ann / Home / East",
            "Cy / Dale / Far",
        }
        assert after["Ann / Home / Brook"].id == before["Ann / Home / South"].id
        did = [event.did for event in history(book)]
        assert {"field moved", "field renamed", "field gone"} <= {*did}
        again = brought(book, tmp_path, *rows)
        assert len(again.same) == 4
        assert bring_in(book, again, who="Ann") == 0
        back = brought(book, tmp_path, ("Bob", "Hill", "North", square(2)))
        bring_in(book, back, who="Ann")
        found_again = find_field(book, "Bob / Hill / North")
        assert found_again.id == before["Bob / Hill / North"].id  # with its history


def test_a_field_takes_the_name_of_one_that_is_planted_no_more(address, tmp_path):
    with book_of(address, tmp_path, *THREE, soil=False, planter=False) as book:
        only_south = ("Ann", "Home", "South", square(1))
        bring_in(book, brought(book, tmp_path, only_south, gone=True), who="Ann", gone=True)
        south = find_field(book, "South")
        renamed = brought(book, tmp_path, ("Ann", "Home", "North", square(1)), gone=True)
        bring_in(book, renamed, who="Ann", gone=True)
        assert [(field.id, field.name) for field in fields(book, grower="Ann")] == [
            (south.id, "North")
        ]


def test_a_file_of_one_grower_says_nothing_of_others(address, tmp_path):
    with book_of(address, tmp_path, *THREE, soil=False, planter=False) as book:
        delivery = brought(book, tmp_path, ("Ann", "Home", "North", square(0)), gone=True)
        assert [field.path for field in delivery.gone] == ["Ann / Home / South"]
        bring_in(book, delivery, who="Ann", gone=True)
        assert [field.path for field in fields(book)] == [
            "Ann / Home / North",
            "Bob / Hill / North",
        ]
        taken = brought(book, tmp_path, ("Ann", "Home", "North", square(2)), gone=True)
        assert taken.problems  # and his ground stays his


def test_what_is_not_in_a_file_stays_unless_it_is_said_to_be_gone(address, tmp_path):
    with book_of(address, tmp_path, *THREE, soil=False, planter=False) as book:
        rows = ("Cy", "Dale", "East", square(3)), ("Dee", "Dale", "West", square(4))
        delivery = brought(book, tmp_path, *rows)
        assert len(delivery.gone) == 3
        bring_in(book, delivery, who="Ann")
        assert len(fields(book)) == 5


def test_another_who_brought_the_same_meanwhile_is_told(address, tmp_path):
    with new_book(address) as book:
        mine, his = (brought(book, tmp_path, *THREE) for _ in range(2))
        bring_in(book, his, who="Bob")
        with pytest.raises(BookError, match="Another has changed fields"):
            bring_in(book, mine, who="Ann")
        assert len(fields(book)) == 3


def test_what_another_moved_meanwhile_is_not_written_over(address, tmp_path):
    with book_of(address, tmp_path, *THREE, soil=False, planter=False) as book:
        mine, his = (
            brought(book, tmp_path, ("Ann", "Home", "North", square(0, inset=inset)))
            for inset in (0.10, 0.20)
        )
        bring_in(book, his, who="Bob")
        with pytest.raises(BookError, match=r"Another has changed fields.*Ann / Home / North"):
            bring_in(book, mine, who="Ann")


@pytest.mark.parametrize("name", HARD)
def test_any_name_is_kept_and_found(address, tmp_path, name):
    with book_of(address, tmp_path, (name, name, name, square(0)), soil=False) as book:
        (field,) = fields(book)
        assert (field.grower, field.farm, field.name) == (name, name, name)
        assert find_field(book, name).id == field.id
        assert find_field(book, f"{name} / {name}").id == field.id
        assert fields(book, grower=name) == [field]


def test_blanks_about_and_within_names_do_not_count(address, tmp_path):
    with book_of(address, tmp_path, ("Ann\n", "", " Nor  th ", square(0)), soil=False) as book:
        (field,) = fields(book)
        assert field.path == "Ann / Nor th"


def test_one_grower_who_was_typed_in_two_ways_is_told(address, tmp_path):
    with new_book(address) as book:
        rows = (("A. Sample", "", "North", square(0)), ("a sample", "", "South", square(1)))
        delivery = brought(book, tmp_path, *rows)
        assert not delivery.problems
        assert any("one, or two?" in remark.words for remark in delivery.remarks)


def test_a_field_that_is_not_clear_is_not_guessed(address, tmp_path):
    with book_of(address, tmp_path, *THREE, soil=False, planter=False) as book:
        with pytest.raises(BookError, match="has 2 fields north"):
            find_field(book, "north")
        assert find_field(book, "bob/hill/NORTH").grower == "Bob"
        with pytest.raises(BookError, match='Did you mean "South"'):
            find_field(book, "Sooth")
        with pytest.raises(BookError, match="no grower Cy"):
            fields(book, grower="Cy")


def test_any_tool_finds_boundaries_by_their_place(address, tmp_path):
    (west, south), (east, _), (_, north), *_ = square(1, inset=0.3)
    if address.startswith("postgresql"):
        box = "ST_MakeEnvelope(:w, :s, :e, :n, 4326)"
        asked = f"SELECT field_id FROM boundaries WHERE geometry && {box}"
    else:
        asked = (
            "SELECT field_id FROM boundary_boxes JOIN boundaries USING (id) WHERE "
            "boundary_boxes.west <= :e AND boundary_boxes.east >= :w AND "
            "boundary_boxes.south <= :n AND boundary_boxes.north >= :s"
        )
    with book_of(address, tmp_path, *THREE, soil=False, planter=False) as book:
        place = {"w": west, "s": south, "e": east, "n": north}
        with book.read() as connection:
            there = connection.execute(sa.text(asked), place).scalars().all()
        assert there == [find_field(book, "South").id]


def test_one_grower_is_named_whatever_columns_there_are(address, tmp_path):
    with new_book(address) as book:
        file = county(
            tmp_path / "odd.geojson", ("a1", square(0)), ("a2", square(1)), columns=("id",)
        )
        bring_in(book, look_over(book, file, Columns(), one_grower="Cy"), who="Ann")
        assert [field.path for field in fields(book)] == ["Cy / Field 1", "Cy / Field 2"]
