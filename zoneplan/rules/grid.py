"""The base rules of a set as the grid that they are: texture group by moisture, for a tillage."""

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import product

from zoneplan.rules.rule import Rule, RuleSet
from zoneplan.rules.words import GROUND
from zoneplan.soil.texture import GROUP_OF

GROUPS, MOISTURES, TILLAGES = (GROUND[name] for name in ("texture_group", "moisture", "tillage"))
_GROUND = tuple(product(GROUPS, MOISTURES))


@dataclass(frozen=True)
class Cell:
    """What decides one number of the grid."""

    group: str
    moisture: str
    rule: Rule  # the base rule
    also: tuple[Rule, ...]  # more particular ones, that may add to it or hold it there


@dataclass(frozen=True)
class Grid:
    """A cell for every texture group and moisture, on ground of these tillages."""

    tillages: tuple[str, ...]
    cells: Mapping[tuple[str, str], Cell]  # by texture group and moisture


def grids(rule_set: RuleSet) -> tuple[Grid, ...]:
    """Lay the base rules of a set out: one grid, or one a tillage where rules differ by it.

    >>> from zoneplan.rules.read import read_rules
    >>> (grid,) = grids(read_rules().aim)
    >>> grid.tillages, grid.cells["coarse", "dry"].rule.id
    (('tilled', 'strip-till', 'no-till'), 'aim-coarse-dry')
    """
    tillages: dict[tuple[str, ...], list[str]] = {}
    for tillage in TILLAGES:
        bases = [_base(rule_set, group, moisture, tillage).id for group, moisture in _GROUND]
        tillages.setdefault(tuple(bases), []).append(tillage)
    return tuple(
        Grid(
            tuple(alike),
            {
                (group, moisture): Cell(
                    group,
                    moisture,
                    _base(rule_set, group, moisture, alike[0]),
                    tuple(
                        rule
                        for rule in rule_set.rules
                        if rule.kind != "base"
                        and any(_may_hold(rule, group, moisture, tillage) for tillage in alike)
                    ),
                )
                for group, moisture in _GROUND
            },
        )
        for alike in tillages.values()
    )


def textures_of(group: str) -> tuple[str, ...]:
    """Name the texture classes of a group.

    >>> textures_of("medium")
    ('loam', 'silt loam', 'silt')
    """
    return tuple(texture for texture, own_group in GROUP_OF.items() if own_group == group)


def _base(rule_set: RuleSet, group: str, moisture: str, tillage: str) -> Rule:
    [base] = [  # as `read_rules` proved
        rule
        for rule in rule_set.rules
        if rule.kind == "base" and _may_hold(rule, group, moisture, tillage)
    ]
    return base


def _may_hold(rule: Rule, group: str, moisture: str, tillage: str) -> bool:
    ground = {"texture_group": group, "moisture": moisture, "tillage": tillage}
    textures = textures_of(group)
    return all(
        value in rule.when.get(name, (value,)) for name, value in ground.items()
    ) and not set(textures).isdisjoint(rule.when.get("texture", textures))
