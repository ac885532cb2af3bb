"""Which changes by hand do not hold in a plan, each with the notice that says why."""

from collections.abc import Collection, Mapping, Sequence

from zoneplan.notices import Notice
from zoneplan.plan.model import Plan
from zoneplan.plan.places import zone_at
from zoneplan.zones.edit import Edit, Override, Rename

NOT_PLACED = (
    "edit-outside-field",
    "split-parts-none",
    "merge-within-zone",
    "merge-without-border",
)


def left_out(
    plan: Plan, edits: Sequence[Edit], codes: Collection[str] | None = None
) -> Mapping[int, Notice]:
    """Give the changes that do not hold, by their number, counted from 1.

    Parameters
    ----------
    plan : Plan
        Made with these changes.
    edits : sequence of Edit
        In the order they were made.
    codes : collection of str, optional
        Only of notices with these codes: `NOT_PLACED` for changes that fit nowhere.
    """
    out: dict[int, Notice] = {}
    for notice in plan.notices:
        if codes is not None and notice.code not in codes:
            continue
        if notice.code in NOT_PLACED:
            out[notice["change"]] = notice
        elif notice.code == "later-edit-stands":
            out[notice["falls"]] = notice
        elif notice.code == "override-left-out":
            for number, edit in enumerate(edits, start=1):
                if (
                    isinstance(edit, Override)
                    and (edit.decides, edit.moisture) == (notice["decides"], notice.moisture)
                    and zone_at(plan, edit.at) == notice.zone
                ):
                    out[number] = notice
    return out


def replaced(plan: Plan, edits: Sequence[Edit]) -> Mapping[int, int]:
    """Give the changes that a later one of the same zone took the place of, and which one.

    Parameters
    ----------
    plan, edits : Plan, sequence of Edit
        As `left_out` takes them.
    """
    last: dict[tuple[int | None, str, str], int] = {}
    out = {}
    for number, edit in reversed([*enumerate(edits, start=1)]):
        if not isinstance(edit, Override | Rename):
            continue
        says = ("name", "") if isinstance(edit, Rename) else (edit.decides, edit.moisture)
        subject = (zone_at(plan, edit.at), *says)
        if subject in last and subject[0] is not None:
            out[number] = last[subject]
        last.setdefault(subject, number)
    return out
