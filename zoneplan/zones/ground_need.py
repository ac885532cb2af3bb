"""What ground needs, in the coordinates that zones are drawn by."""

from dataclasses import dataclass

from zoneplan.terms import Ground, Moisture
from zoneplan.units import N_PER_LBF

DRY, USUAL, WET, WAIT = range(4)  # coordinates: three needs, and the chance to wait
COORDINATES = 4
COORDINATE_OF = {Moisture.DRY: DRY, Moisture.MOIST: USUAL, Moisture.WET: WET, None: USUAL}
WAIT_N = 60 * N_PER_LBF  # judged: how many newtons a certain wait weighs as much as


Label = tuple[Ground, str | None]  # kind of ground, and the zone drawn around it


@dataclass(frozen=True)
class GroundNeed:
    """What one soil at one site needs, unrounded.

    The need of a row unit that holds a setting is target + R + C + A - W at half fill, of one
    that holds a margin the target. Ground without numbers needs nothing.
    """

    kind: Ground  # other kinds never join
    drawn: str | None = None  # the zone a person drew around it: nor do these across their line
    needs_n: tuple[float, float, float] | None = None  # dry, on the usual day, wet [N]
    wait_chance: float = 0.0  # that it is too wet to plant in the wet column, 0 to 1

    @property
    def label(self) -> Label:
        """Ground with another label never joins it as alike."""
        return self.kind, self.drawn

    @property
    def coordinates_n(self) -> tuple[float, ...]:
        """Where it lies among all needs. [N]

        >>> GroundNeed(Ground.SOIL, None, (900.0, 800.0, 700.0), 0.5).coordinates_n[:3]
        (900.0, 800.0, 700.0)
        """
        if self.needs_n is None:
            return (0.0,) * COORDINATES
        return (*self.needs_n, self.wait_chance * WAIT_N)

    def weights(self, planned: int) -> tuple[float, ...]:
        """How much a square metre of it weighs in each coordinate.

        The planned moisture counts a half, the others a quarter each; when wet, ground counts
        as much as it is not to wait. Judged.

        >>> GroundNeed(Ground.SOIL, None, (900.0, 800.0, 700.0), 0.5).weights(USUAL)
        (0.25, 0.5, 0.125, 0.25)
        """
        if self.needs_n is None:
            return (0.0,) * COORDINATES
        share = [0.25] * COORDINATES
        share[planned] = 0.5
        share[WET] *= 1 - self.wait_chance
        return tuple(share)
