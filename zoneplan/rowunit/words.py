"""Loads, pressures and whole machines said in the units of the trade."""

from zoneplan.rowunit.machine import ClosedLoopAir, Hydraulic, Machine, SetAir, Springs
from zoneplan.units import percent, to

SYSTEM_WORDS = {
    "springs": "springs at fixed positions",
    "set-air": "air at a set pressure",
    "closed-loop-air": "air in closed loop",
    "hydraulic": "hydraulic cylinder on each row",
}


def load(force_n: float) -> str:
    """Say a load.

    >>> load(444.8)
    '100 lb (445 N)'
    """
    return f"{_pounds(force_n)} ({round(force_n)} N)"


def downforce(force_n: float) -> str:
    """Say a downforce, which may be a lift.

    >>> downforce(-444.8)
    '100 lb (445 N) of lift'
    >>> downforce(0.0)
    'no downforce'
    """
    if abs(force_n) < 0.5:
        return "no downforce"
    return f"{load(abs(force_n))} {'of lift' if force_n < 0 else 'down'}"


def pressure(pressure_kpa: float) -> str:
    """Say a pressure, as a gauge is read.

    >>> pressure(206.8), pressure(221.3)
    ('30 psi (207 kPa)', '32 psi (221 kPa)')
    """
    return f"{round(to(pressure_kpa, 'psi', 'pressure'))} psi ({round(pressure_kpa)} kPa)"


def distance(distance_m: float) -> str:
    """Say a distance along the ground.

    >>> distance(22.4)
    '73 ft (22 m)'
    """
    return f"{round(to(distance_m, 'ft', 'length'))} ft ({round(distance_m)} m)"


def speed(speed_mps: float) -> str:
    """Say a speed.

    >>> speed(2.2352)
    '5 mph'
    """
    return f"{to(speed_mps, 'mph', 'speed'):.3g} mph"


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
