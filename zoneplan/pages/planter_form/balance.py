"""What the weights of a planter come to, and the balance of one row unit as a picture."""

from zoneplan.pages.forces import Balanced, balance_figure
from zoneplan.pages.state import known
from zoneplan.plan.on_loam import on_loam
from zoneplan.rowunit.balance import seed_weight_n, weight_n
from zoneplan.rowunit.machine import Machine
from zoneplan.rowunit.systems import at_fill, frame_lift_n, setting_kind, setting_unit
from zoneplan.rules.read import read_rules
from zoneplan.say.quantities import figure

_FRAME = (
    "All rows at their heaviest lift the frame by {}. It has to weigh more than that at its bar, "
    "or its wheels come off the ground: see the machine's manual."
)


def weights(machine: Machine, units: str, *, guessed: bool) -> str:
    """Sum the weights, as HTML; `guessed` where places are still empty."""

    def cells(*loads_n: float) -> str:
        return "".join(f"<td>{figure(load_n, 'load', units)}</td>" for load_n in loads_n)

    fills = (machine.fill_full, machine.fill_refill)
    rows = (
        ("Row unit", [machine.unit_weight_n] * 2),
        ("Attachments", [machine.attachments_n] * 2),
        ("Seed", [seed_weight_n(machine, fill) for fill in fills]),
    )
    lines = "".join(f'<tr><th scope="row">{name}</th>{cells(*loads)}</tr>' for name, loads in rows)
    total = cells(*(weight_n(machine, fill) for fill in fills))
    note = (
        '<p class="zp-change">Typical numbers stand in for what is still empty.</p>'
        if guessed
        else ""
    )
    return (
        '<table class="zp-zones zp-sum"><caption>Weight of one row unit</caption><thead><tr>'
        '<th scope="col"></th><th scope="col">Hopper full</th><th scope="col">At refill</th></tr>'
        f'</thead><tbody>{lines}<tr class="total"><th scope="row">Together</th>{total}</tr></tbody>'
        f"</table>{note}"
    )


def balance(machine: Machine, units: str) -> str:
    """Draw the balance of one row unit on loam, and say what all of them do to the frame."""
    demand, outcome = on_loam(machine, known("stock rules", read_rules))
    fills = []
    for words, fill in (("hopper full", machine.fill_full), ("at refill", machine.fill_refill)):
        there = at_fill(machine, demand, outcome.setting, fill)
        fills.append(
            Balanced(
                words,
                row_unit_n=machine.unit_weight_n + machine.attachments_n,
                seed_n=seed_weight_n(machine, fill),
                downforce_n=there.given_n,
                opener_load_n=demand.opener_load_n,
                closing_load_n=demand.closing_load_n,
                margin_n=there.margin_n,
            )
        )
    quantity = "pressure" if setting_unit(machine) == "kPa" else "load"
    where = (
        f"Balance on loam, moist and tilled, at {figure(machine.speed_mps, 'speed', units)}, "
        f"{figure(machine.depth_m, 'length', units)} deep, with the {setting_kind(machine)} at "
        f"{figure(outcome.setting, quantity, units)}"
    )
    lift = figure(frame_lift_n(machine), "load", units)
    return f'{balance_figure(where, fills, units)}<p class="zp-change">{_FRAME.format(lift)}</p>'
