"""What a field's plan is made from, and the digest by which a change of it is seen."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache, cached_property
from hashlib import sha256
from typing import Any

import sqlalchemy as sa

from zoneplan import release
from zoneplan.book.tables import about, conditions, planters, rule_sets, seasons, soils
from zoneplan.errors import BookError, SavedError, listed
from zoneplan.export.document import SCHEMA
from zoneplan.forms import Place
from zoneplan.request import Request
from zoneplan.rowunit.machine import SYSTEMS
from zoneplan.rowunit.machine_file import new_machine_text
from zoneplan.rules.read import STOCK
from zoneplan.store.request_json import REQUEST

Asked = dict[str, Any]  # what a request holds, as JSON in SI; "planter" names the planter
Box = tuple[float, float, float, float]  # west, south, east, north, in degrees
PLANTER = "planter"


@dataclass(frozen=True)
class Ground:
    """Which field it is, with the boundary that holds."""

    field_id: int
    farm_id: int
    grower_id: int
    name: str
    boundary_id: int
    boundary_sha256: str
    box: Box

    @property
    def scopes(self) -> tuple[str, ...]:
        """For whom something may hold that it holds for this field, the widest first."""
        return ("all", f"grower {self.grower_id}", f"farm {self.farm_id}", f"field {self.field_id}")


@dataclass(frozen=True)
class Inputs:
    """What one field's plan is made from."""

    ground: Ground
    asked: Asked
    soils: tuple[sa.Row[Any], ...]
    planter: sa.Row[Any] | str | None  # a file, or the name of a generic one
    rules: tuple[sa.Row[Any], ...]  # the narrowest last: it is laid over the others

    @cached_property
    def sha256(self) -> str:
        """Digest of all of it and of the zoneplan that plans: never of a file's time."""
        planter = self.planter if isinstance(self.planter, str | None) else self.planter.sha256
        parts = (
            _program(),
            self.ground.boundary_sha256,
            [row.sha256 for row in self.soils],
            planter,
            [row.sha256 for row in self.rules],
            {name: value for name, value in self.asked.items() if name != PLANTER},
        )
        return sha256(json.dumps(parts, sort_keys=True).encode()).hexdigest()

    @property
    def missing(self) -> tuple[str, ...]:
        """What it cannot be planned without."""
        drawn = any(drawing.get("what") == "soil" for drawing in self.asked.get("drawn", ()))
        planter = "set planter" if PLANTER in self.asked else "planter"
        lacks = {planter: not self.planter, "soil": not self.soils and not drawn}
        return tuple(what for what, lacking in lacks.items() if lacking)

    def request(self) -> Request:
        """Make the request.

        Raises
        ------
        SavedError
            When what the book holds is none; all that is wrong is told.
        """
        faults: list[str] = []
        asked = {name: value for name, value in self.asked.items() if name != PLANTER}
        request: Request | None = REQUEST(asked, Place(faults))
        if request is None or faults:
            raise SavedError(listed(f"What is set for {self.ground.name}", faults))
        return request


@dataclass(frozen=True)
class Supplies:
    """All that the fields of a book are planned from, in its season."""

    season_id: int
    season: str
    soils: tuple[sa.Row[Any], ...]
    planters: Mapping[tuple[str, str], sa.Row[Any]]  # by scope and name
    rules: tuple[sa.Row[Any], ...]
    asked: Mapping[str, Asked]  # by scope

    def inputs_of(self, ground: Ground) -> Inputs:
        """Find what one field is planned from: the narrower scope wins."""
        scopes = ground.scopes
        asked: Asked = {"name": ground.name}
        for scope in scopes:
            asked |= self.asked.get(scope, {})
        asked = {name: value for name, value in asked.items() if value is not None}
        planter = self._planter(asked.get(PLANTER), scopes)
        rules = [row for scope in scopes for row in self.rules if row.scope == scope]
        soil = (row for row in self.soils if row.scope in scopes and _meets(row, ground.box))
        return Inputs(ground, asked, tuple(soil), planter, tuple(rules))

    def _planter(self, name: str | None, scopes: Sequence[str]) -> sa.Row[Any] | str | None:
        """The file of this name whose scope is the narrowest, or a generic one."""
        if name is None:
            return None
        ours = [self.planters[scope, name] for scope in scopes if (scope, name) in self.planters]
        return ours[-1] if ours else name if name in SYSTEMS else None


def supplies(connection: sa.Connection) -> Supplies:
    """Load what fields are planned from, without the contents of files."""
    season_id, season = season_of(connection)
    asked = connection.execute(sa.select(conditions).where(conditions.c.season_id == season_id))
    machines = connection.execute(_holding(planters)).all()
    return Supplies(
        season_id,
        season,
        tuple(connection.execute(_holding(soils))),
        {(row.scope, row.name): row for row in machines},
        tuple(connection.execute(_holding(rule_sets))),
        {row.scope: json.loads(row.asked) for row in asked},
    )


def season_of(connection: sa.Connection) -> tuple[int, str]:
    """Give the season that the book is at: its number and its name."""
    asked = sa.select(seasons.c.id, seasons.c.name).join(about, about.c.value == seasons.c.name)
    season = connection.execute(asked.where(about.c.name == "season")).first()
    if season is None:
        raise BookError("The book has no season.\nSay which it is.", code="book-no-season")
    return season.id, season.name


@cache
def _program() -> str:
    """What plans: the release, the form of its plans, its stock rules and generic planters."""
    texts = [path.read_bytes() for path in STOCK]
    texts += [new_machine_text(system).encode() for system in SYSTEMS]
    digest = sha256(b"".join(texts)).hexdigest()
    return f"{release()} {SCHEMA} {digest}"


def _holding(table: sa.Table) -> sa.Select[Any]:
    """What holds now, in the order it was given, without what is in the files."""
    columns = [column for column in table.c if column.name != "content"]
    return sa.select(*columns).where(table.c.ended_at.is_(None)).order_by(table.c.id)


def _meets(soil: sa.Row[Any], box: Box) -> bool:
    if soil.west is None:
        return True
    west, south, east, north = box
    return bool(
        soil.west <= east and west <= soil.east and soil.south <= north and south <= soil.north
    )
