"""A planter, as far as one row unit and its downforce are concerned.

`machine_file` reads one from TOML.
"""

from dataclasses import dataclass

from zoneplan.terms import ClosingWheel, SettingKind, System, Tillage
from zoneplan.units import (
    KG_PER_LB,
    M3_PER_BU,
    M_PER_IN,
    N_PER_LBF,
    distance,
    downforce,
    load,
    percent,
    speed,
    to,
)

SYSTEMS = tuple(System)
SYSTEM_WORDS = {
    "springs": "springs at fixed positions",
    "set-air": "air at a set pressure",
    "closed-loop-air": "air in closed loop",
    "hydraulic": "hydraulic cylinder on each row",
}
SPRING_POSITIONS_N = tuple(pounds * N_PER_LBF for pounds in (0, 100, 200, 300, 400))  # judged
CORN_KG_M3 = 56 * KG_PER_LB / M3_PER_BU  # test weight of corn, US grain standards
DISC_DIAMETER_M = 15 * M_PER_IN
RETRIM_S = 1800.0
SETTLED_TIME_CONSTANTS = 3  # a first-order system has then made 95 % of a step
LIGHT_TO_HEAVY = 2.0  # judged: shallow seed costs about twice what a packed furrow does

Chart = tuple[tuple[float, float], ...]  # (pressure kPa, downforce N), both rising


@dataclass(frozen=True)
class Notch:
    """One position of the closing-wheel lever, and the load the wheels carry there."""

    name: str
    load_n: float


@dataclass(frozen=True)
class Attachment:
    """Something on the row unit that the soil or the ground pushes up by itself."""

    name: str
    reaction_n: float  # in moist, tilled soil
    cuts_soil: bool  # a coulter or fertiliser disc does; a row cleaner or firmer rides


@dataclass(frozen=True)
class Springs:
    """Coil springs with fixed positions, moved by hand on a stopped planter."""

    positions_n: tuple[float, ...] = SPRING_POSITIONS_N
    kind: System = System.SPRINGS


@dataclass(frozen=True)
class SetAir:
    """Air bags held at a pressure the operator sets; the pressure drifts between re-trims."""

    chart: Chart
    retrim_s: float  # time between two looks at the gauge
    drift_kpa_per_h: float  # leaks lower it and the sun raises it: either way
    kind: System = System.SET_AIR


@dataclass(frozen=True)
class ClosedLoopAir:
    """Air bags that hold a margin over a section, from a few sensors, slowly."""

    chart: Chart
    sections: int
    sensors: int
    delay_s: float
    time_constant_s: float
    kind: System = System.CLOSED_LOOP_AIR


@dataclass(frozen=True)
class Hydraulic:
    """A cylinder on each row that holds a margin; pushes and, on some, lifts."""

    least_n: float  # negative: lift
    most_n: float
    delay_s: float
    time_constant_s: float
    kind: System = System.HYDRAULIC


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
    system: Springs | SetAir | ClosedLoopAir | Hydraulic
    disc_diameter_m: float = DISC_DIAMETER_M
    light_to_heavy: float = LIGHT_TO_HEAVY  # cost of a pound too light, in pounds too heavy
    swing_n: float | None = None  # of the gauge-wheel load, measured at `speed_mps`
    swing_tillage: Tillage | None = None  # that it was measured on; None: the planned one
    closing_wheel: ClosingWheel = ClosingWheel.RUBBER
    attachment_reactions: tuple[Attachment, ...] = ()  # that the soil pushes up by themselves
    generic: bool = False  # invented weights: nobody has put his own in

    @property
    def width_m(self) -> float:
        """Working width."""
        return self.rows * self.row_spacing_m

    @property
    def deepest_m(self) -> float:
        """Depth that the opener discs do not reach: their axle would be in the ground."""
        return self.disc_diameter_m / 2


def setting_kind(machine: Machine) -> SettingKind:
    """Say what is set on a machine."""
    if isinstance(machine.system, Springs):
        return SettingKind.SPRING_POSITION
    if isinstance(machine.system, SetAir):
        return SettingKind.AIR_PRESSURE
    return SettingKind.MARGIN_TARGET


def setting_unit(machine: Machine) -> str:
    """Say what a setting is kept in: "N", or "kPa" for set air."""
    return "kPa" if isinstance(machine.system, SetAir) else "N"


def section_width_m(machine: Machine) -> float:
    """Width of the narrowest strip that can be given a setting of its own. [m]."""
    if isinstance(machine.system, Hydraulic):
        return machine.row_spacing_m
    if isinstance(machine.system, ClosedLoopAir):
        return machine.width_m / machine.system.sections
    return machine.width_m


def settle_distance_m(machine: Machine, speed_mps: float) -> float:
    """Distance travelled before a new target is held. [m]; 0 where a setting is held.

    Source
    ------
    Derived: speed × (delay + 3 time constants), when a first-order system has made 95 %
    of a step.
    """
    if isinstance(machine.system, Springs | SetAir):
        return 0.0
    settled_s = machine.system.delay_s + SETTLED_TIME_CONSTANTS * machine.system.time_constant_s
    return speed_mps * settled_s


def reach_n(system: Springs | SetAir | ClosedLoopAir | Hydraulic) -> tuple[float, float]:
    """Least and most downforce that a system gives. [N]; negative is lift."""
    if isinstance(system, Springs):
        return system.positions_n[0], system.positions_n[-1]
    if isinstance(system, SetAir | ClosedLoopAir):
        return system.chart[0][1], system.chart[-1][1]
    return system.least_n, system.most_n


def frame_lift_n(machine: Machine) -> float:
    """What all rows at their heaviest downforce push the frame up by. [N].

    Source
    ------
    Derived: what presses a row unit down presses as hard against the frame.
    """
    return machine.rows * reach_n(machine.system)[1]


def describe(machine: Machine) -> list[tuple[str, str]]:
    """Say a whole machine, one label and one value a line."""
    lines = [
        ("name", machine.name),
        (
            "rows",
            f"{machine.rows} at {_inches(machine.row_spacing_m)}, {distance(machine.width_m)} wide",
        ),
        ("planting", f"{speed(machine.speed_mps)}, {_inches(machine.depth_m)} deep"),
        ("row unit, hopper empty", load(machine.unit_weight_n)),
        ("attachments", load(machine.attachments_n)),
        ("opener discs", f"{_inches(machine.disc_diameter_m)} across"),
        (
            "hopper",
            f"{to(machine.hopper_m3, 'bu', 'volume'):.3g} bu of seed at "
            f"{to(machine.test_weight_kg_m3, 'lb/bu', 'density'):.3g} lb/bu, "
            f"planned from {percent(machine.fill_full)} down to {percent(machine.fill_refill)} "
            "full",
        ),
        (
            "closing wheels",
            ", ".join(f"notch {notch.name}: {_pounds(notch.load_n)}" for notch in machine.notches),
        ),
        ("too light to too heavy", f"{machine.light_to_heavy:g} to 1"),
        (
            "swing",
            "not measured"
            if machine.swing_n is None
            else f"{load(machine.swing_n)} at {speed(machine.speed_mps)}, measured",
        ),
        ("downforce", SYSTEM_WORDS[machine.system.kind]),
    ]
    return lines + _describe_system(machine.system)


def _describe_system(system: Springs | SetAir | ClosedLoopAir | Hydraulic) -> list[tuple[str, str]]:
    lines = []
    if isinstance(system, Springs):
        lines.append(("positions", ", ".join(_pounds(force_n) for force_n in system.positions_n)))
    if isinstance(system, SetAir | ClosedLoopAir):
        points = (f"{_psi(kpa)}: {_pounds(force_n)}" for kpa, force_n in system.chart)
        lines.append(("chart", ", ".join(points)))
    if isinstance(system, SetAir):
        lines.append(("re-trimmed", f"every {to(system.retrim_s, 'min', 'time'):.3g} min"))
        lines.append(("drift", f"{_psi(system.drift_kpa_per_h)} an hour, either way"))
    if isinstance(system, ClosedLoopAir):
        lines.append(("sections", f"{system.sections}, with {system.sensors} sensors"))
    if isinstance(system, Hydraulic):
        lines.append(("reach", f"{downforce(system.least_n)} to {downforce(system.most_n)}"))
    if isinstance(system, ClosedLoopAir | Hydraulic):
        lines.append(
            (
                "response",
                f"{system.delay_s:g} s delay, {system.time_constant_s:g} s time constant",
            )
        )
    return lines


def _pounds(force_n: float) -> str:
    return f"{round(to(force_n, 'lb', 'force'))} lb"


def _psi(pressure_kpa: float) -> str:
    return f"{to(pressure_kpa, 'psi', 'pressure'):.3g} psi"


def _inches(length_m: float) -> str:
    return f"{to(length_m, 'in', 'length'):.3g} in"
