"""Two plans of the same ground, held against each other: where they differ, and by how much."""

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import shapely
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from zoneplan.errors import ZoneplanError
from zoneplan.field.crs import geodesic_area_ha, move
from zoneplan.field.shapes import polygons_in
from zoneplan.plan.headline import NOISE_N, area_mean
from zoneplan.plan.model import Instruction, NoNumbers, Plan, Setting, Wait
from zoneplan.rowunit.doubt import Chances, mean_chances
from zoneplan.terms import Moisture

LEAST_COMMON = 0.05  # judged: outlines of neighbours overlap by less of the smaller field
HAIRLINE = 1e-9  # of the common ground: less is rounding, where two edges are one


@dataclass(frozen=True)
class Piece:
    """Ground where one zone of a plan meets one of the other."""

    zones: tuple[int, int]
    shape: Polygon | MultiPolygon  # in the first plan's metric system
    area_ha: float  # geodesic
    one: Instruction
    other: Instruction

    @property
    def gap_n(self) -> float:
        """The most that target, closing load or margin left differ.

        Endless where one plan has a number and the other has none, or none for another
        reason; 0 where neither has one for the same reason.
        """
        if _numbered(self.one) != _numbered(self.other) or _waits(self.one) != _waits(self.other):
            return math.inf
        loads_n = zip(_felt_n(self.one), _felt_n(self.other), strict=True)
        return max((abs(b - a) for a, b in loads_n), default=0.0)


@dataclass(frozen=True)
class Totals:
    """What one plan comes to on the common ground."""

    margin_n: float | None  # mean of the target by area, where both plans have numbers
    left_full_n: float | None  # mean of the margin really left there, hopper full
    left_refill_n: float | None
    reached_ha: float  # the target is held from a full hopper to refill
    wait_ha: float  # too wet, no number
    blank_ha: float  # no number either, for want of soil data or of soil
    packing_ha: float  # more margin is left than the soil bears
    contact_ha: float  # less is left than keeps the wheels on the ground as is wanted
    contact_full_share: float | None  # means by area, of the margin that is left
    contact_refill_share: float | None
    shallow_share: float | None  # of the seed
    chances: Chances | None  # that the margin left is right, too light or too heavy
    best: float | None  # the field's one setting, in the plan's own unit, if one is held


@dataclass(frozen=True)
class Comparison:
    """Two plans at one moisture, on the ground that both cover."""

    pieces: tuple[Piece, ...]  # those that differ most come first
    common_ha: float
    meant_ha: float  # of it, where both plans have numbers: what the means are over
    apart_ha: tuple[float, float]  # ground that only the first plan covers, and only the other
    one: Totals
    other: Totals


def compare(one: Plan, other: Plan, moisture: Moisture) -> Comparison:
    """Lay two plans of one field over each other, at one moisture.

    Parameters
    ----------
    one, other : Plan
        Their zones may be drawn in different metric systems.
    moisture : Moisture
        Which column is compared.

    Returns
    -------
    Comparison
        Its pieces add up to the common ground. A zone that waits is in no mean, and neither
        is the other plan's number there: both means are over the same ground.

    Raises
    ------
    ZoneplanError
        When the plans are of different ground.
    """
    outline = _areas(one.field.shape.intersection(_moved(other.field.shape, other, one)))
    common_ha = geodesic_area_ha(outline, one.field.crs)
    if common_ha < LEAST_COMMON * min(one.field.area_ha, other.field.area_ha):
        raise _apart(one, other)
    pieces = sorted(
        _pieces(one, other, moisture, HAIRLINE * outline.area),
        key=lambda piece: (-piece.gap_n, -piece.area_ha, piece.zones),
    )
    numbered = [piece for piece in pieces if _numbered(piece.one) and _numbered(piece.other)]
    return Comparison(
        pieces=tuple(pieces),
        common_ha=common_ha,
        meant_ha=math.fsum(piece.area_ha for piece in numbered),
        apart_ha=(
            max(one.field.area_ha - common_ha, 0.0),
            max(other.field.area_ha - common_ha, 0.0),
        ),
        one=_totals(
            [(piece.area_ha, piece.one) for piece in pieces],
            [(piece.area_ha, piece.one) for piece in numbered],
            one.best[moisture],
        ),
        other=_totals(
            [(piece.area_ha, piece.other) for piece in pieces],
            [(piece.area_ha, piece.other) for piece in numbered],
            other.best[moisture],
        ),
    )


def packs(instruction: Instruction) -> bool:
    """Whether more margin is left than the soil bears, somewhere between full and refill."""
    if not isinstance(instruction, Setting):
        return False
    return (
        max(instruction.margin_full_n, instruction.margin_refill_n)
        > instruction.margin_most_n + NOISE_N
    )


def bounces(instruction: Instruction) -> bool:
    """Whether less margin is left than keeps the wheels down as is wanted, full to refill."""
    if not isinstance(instruction, Setting):
        return False
    return (
        min(instruction.margin_full_n, instruction.margin_refill_n)
        < instruction.margin_least_n - NOISE_N
    )


# ---- ground ------------------------------------------------------------------------------------


def _pieces(one: Plan, other: Plan, moisture: Moisture, hairline_m2: float) -> Iterator[Piece]:
    shapes = [_moved(setting.zone.shape, other, one) for setting in other.settings]
    tree = shapely.STRtree(shapes)
    for mine in one.settings:
        for index in tree.query(mine.zone.shape).tolist():
            shape = _areas(mine.zone.shape.intersection(shapes[index]))
            if shape.area > hairline_m2:
                theirs = other.settings[index]
                yield Piece(
                    zones=(mine.zone.id, theirs.zone.id),
                    shape=shape,
                    area_ha=geodesic_area_ha(shape, one.field.crs),
                    one=mine.moistures[moisture],
                    other=theirs.moistures[moisture],
                )


def _moved(shape: Polygon | MultiPolygon, its: Plan, into: Plan) -> Polygon | MultiPolygon:
    """Take a shape of one plan into the metric system of another."""
    here, there = its.field.crs, into.field.crs
    return shape if here == there else move(shape, here, there)


def _areas(shape: BaseGeometry) -> MultiPolygon:
    """Leave out the lines and points that two shapes meet in."""
    return MultiPolygon(polygons_in(shape))


def _apart(one: Plan, other: Plan) -> ZoneplanError:
    return ZoneplanError(
        f"{one.field.name} and {other.field.name} have hardly any ground in common.\n"
        "They are compared zone by zone, on the ground that both cover.\n"
        "Choose two plans of one field."
    )


# ---- sums --------------------------------------------------------------------------------------

_Ground = Sequence[tuple[float, Instruction]]  # hectares, and what is set on them


def _totals(ground: _Ground, numbered: _Ground, best: float | None) -> Totals:
    settings = [
        (area_ha, instruction)
        for area_ha, instruction in numbered
        if isinstance(instruction, Setting)
    ]
    return Totals(
        margin_n=area_mean(settings, lambda setting: setting.margin_n),
        left_full_n=area_mean(settings, lambda setting: setting.margin_full_n),
        left_refill_n=area_mean(settings, lambda setting: setting.margin_refill_n),
        reached_ha=_added(
            ground, lambda instruction: isinstance(instruction, Setting) and instruction.reached
        ),
        wait_ha=_added(ground, _waits),
        blank_ha=_added(ground, lambda instruction: isinstance(instruction, NoNumbers)),
        packing_ha=_added(ground, packs),
        contact_ha=_added(ground, bounces),
        contact_full_share=area_mean(settings, lambda setting: setting.contact_full_share),
        contact_refill_share=area_mean(settings, lambda setting: setting.contact_refill_share),
        shallow_share=area_mean(settings, lambda setting: setting.shallow_share),
        chances=mean_chances([(setting.chances, area_ha) for area_ha, setting in settings])
        if settings
        else None,
        best=best,
    )


def _added(ground: _Ground, counts: Callable[[Instruction], bool]) -> float:
    return math.fsum(area_ha for area_ha, instruction in ground if counts(instruction))


def _numbered(instruction: Instruction) -> bool:
    return isinstance(instruction, Setting)


def _waits(instruction: Instruction) -> bool:
    return isinstance(instruction, Wait)


def _felt_n(instruction: Instruction) -> tuple[float, ...]:
    """The loads that the soil feels; none where there is no number."""
    if not isinstance(instruction, Setting):
        return ()
    return (
        instruction.margin_n,
        instruction.closing_load_n,
        instruction.margin_full_n,
        instruction.margin_refill_n,
    )
