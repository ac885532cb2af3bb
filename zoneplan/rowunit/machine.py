"""A planter, as far as one row unit and its downforce are concerned: read from TOML."""

from dataclasses import dataclass

SYSTEMS = ("springs", "set-air", "looped-air", "hydraulic")


@dataclass(frozen=True)
class Notch:
    """One position of the closing-wheel lever, and the load the wheels carry there."""

    name: str
    load_n: float


@dataclass(frozen=True)
class Springs:
    """Coil springs with fixed positions, moved by hand on a stopped planter."""

    positions_n: tuple[float, ...]
    kind: str = "springs"


@dataclass(frozen=True)
class SetAir:
    """Air bags held at a pressure the operator sets; the pressure drifts between re-trims."""

    chart: tuple[tuple[float, float], ...]  # (pressure kPa, downforce N), both rising
    retrim_s: float
    drift_kpa_per_h: float
    kind: str = "set-air"


@dataclass(frozen=True)
class LoopedAir:
    """Air bags that hold a margin over a section, from a few sensors, slowly."""

    chart: tuple[tuple[float, float], ...]
    sections: int
    sensors: int
    delay_s: float
    time_constant_s: float
    kind: str = "looped-air"


@dataclass(frozen=True)
class Hydraulic:
    """A cylinder on each row that holds a margin; pushes and, on some, lifts."""

    least_n: float  # negative: lift
    most_n: float
    delay_s: float
    time_constant_s: float
    kind: str = "hydraulic"


@dataclass(frozen=True)
class Machine:
    """One planter. Loads are per row."""

    name: str
    rows: int
    row_spacing_m: float
    speed_mps: float
    depth_m: float
    unit_weight_n: float  # the row unit as it hangs, hopper empty
    attachments_n: float
    hopper_m3: float
    fill_full: float  # share of the hopper, 0 to 1
    fill_refill: float
    test_weight_kg_m3: float
    notches: tuple[Notch, ...]  # from lightest to heaviest
    system: Springs | SetAir | LoopedAir | Hydraulic

    @property
    def width_m(self) -> float:
        """Working width."""
        return self.rows * self.row_spacing_m
