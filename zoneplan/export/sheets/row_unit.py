"""One row unit of the planter in words and figures, as the force balance takes it."""

from zoneplan.plan.model import Plan
from zoneplan.rowunit.balance import seed_weight_n
from zoneplan.rowunit.machine import ClosedLoopAir, Hydraulic, SetAir, Springs
from zoneplan.say.quantities import figure, number, percent, plain, unit


def row_unit(plan: Plan, system: str) -> list[tuple[str, str]]:
    """Tell what the machine file says, one label and one value a line."""
    machine = plan.machine

    def load(force_n: float) -> str:
        return figure(force_n, "load", system)

    full, refill = machine.fill_full, machine.fill_refill
    notches = ", ".join(f"{it.name}: {number(it.load_n, 'load', system)}" for it in machine.notches)
    return [
        ("Row unit, hopper empty", load(machine.unit_weight_n)),
        ("Attachments", load(machine.attachments_n)),
        (
            "Seed",
            f"{load(seed_weight_n(machine, full))} full ({percent(full)} of "
            f"{figure(machine.hopper_m3, 'volume', system)} at "
            f"{figure(machine.test_weight_kg_m3, 'density', system)}), "
            f"{load(seed_weight_n(machine, refill))} at refill ({percent(refill)})",
        ),
        ("Opener discs", f"{figure(machine.disc_diameter_m, 'length', system)} across"),
        ("Closing notches", f"{notches} {unit('load', system)}"),
        *_system(plan, system),
        (
            "Load swing",
            "assumed, not measured"
            if machine.swing_n is None
            else f"measured: {load(machine.swing_n)} at "
            f"{figure(machine.speed_mps, 'speed', system)}",
        ),
        ("Too light", f"counts {plain(machine.light_to_heavy, 2)} times as much as too heavy"),
    ]


def _system(plan: Plan, system: str) -> list[tuple[str, str]]:
    """What the downforce system can give."""
    held = plan.machine.system
    lines = []
    if isinstance(held, Springs):
        positions = ", ".join(number(it, "load", system) for it in held.positions_n)
        lines.append(("Spring positions", f"{positions} {unit('load', system)}"))
    if isinstance(held, SetAir | ClosedLoopAir):
        points = ", ".join(
            f"{number(kpa, 'pressure', system)}: {number(force_n, 'load', system)}"
            for kpa, force_n in held.chart
        )
        lines.append(
            ("Air chart", f"{points} ({unit('pressure', system)}: {unit('load', system)})")
        )
    if isinstance(held, SetAir):
        lines.append(
            (
                "Pressure",
                f"re-trimmed every {plain(held.retrim_s / 60, 1)} min; drifts "
                f"{figure(held.drift_kpa_per_h, 'pressure', system)} an hour, either way",
            )
        )
    if isinstance(held, ClosedLoopAir):
        lines.append(("Sections", f"{held.sections}, with {held.sensors} sensors"))
    if isinstance(held, Hydraulic):
        reach = (number(it, "load", system) for it in (held.least_n, held.most_n))
        lines.append(("Cylinder", f"{' to '.join(reach)} {unit('load', system)}; a minus is lift"))
    if isinstance(held, ClosedLoopAir | Hydraulic):
        delay, constant = plain(held.delay_s, 2), plain(held.time_constant_s, 2)
        lines.append(("Response", f"{delay} s delay, {constant} s time constant"))
    return lines
