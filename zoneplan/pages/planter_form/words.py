"""What the boxes of a planter are called, and how each number is found."""

from collections.abc import Mapping
from typing import NamedTuple


class Words(NamedTuple):
    """A box in words. In a list's labels `{}` is the item's number or name."""

    label: str
    how: str


SAFELY = (
    "Before anyone weighs or reaches in: engine off, brake set, key out, the planter raised on its "
    "safety stops and its frame on blocks, never held by oil alone. Pressure relieved, and the "
    "downforce system's control off: it can move a row unit without warning. Discs are sharp. The "
    "machine's manual comes first; where it gives a number, take that."
)
GROUPS: Mapping[str, tuple[str, ...]] = {  # keys of a machine file, in the order of the form
    "The planter": ("name", "rows", "row_spacing", "speed", "depth"),
    "Weight of one row unit": ("unit_weight", "attachments", "disc_diameter"),
    "Seed in one hopper": ("hopper", "full", "refill", "test_weight"),
    "Closing wheels": ("closing_wheel", "notches"),
}
MORE = ("attachment", "swing", "swing_tillage", "light_to_heavy")
ABOUT: Mapping[str, str] = {  # said once, above a list
    "notches": (
        "The load that the pair of closing wheels carries at each notch of its lever, the lightest "
        "first. Hold the row unit at working height on blocks, put a scale's plate under the "
        "closing wheels alone, and read it at every notch."
    ),
    "positions": (
        "What one row unit gains at each position of its springs, the lightest first. Put it on "
        "the scale with its links level, and take off what it weighs with the springs slack."
    ),
    "chart": (
        "What one row unit gains at some pressures, from the lowest to the highest that you run. "
        "Put it on the scale with its links level, let the gauge stand still at each, stand clear, "
        "and take off what it weighs at no pressure."
    ),
    "attachment": (
        "What the soil itself pushes up, each by itself: a coulter, a fertiliser disc (they cut "
        "soil), a row cleaner or a firmer (they ride). In moist, tilled soil, from its manual; "
        "leave it out where you do not know it."
    ),
}
ADD: Mapping[str, str] = {
    "notches": "Add a notch",
    "positions": "Add a position",
    "chart": "Add a pressure",
    "attachment": "Add one",
}
BOXES: Mapping[str, Words] = {
    "name": Words("Name of the planter", "It stands on every sheet."),
    "rows": Words("Rows", "How many the planter has."),
    "row_spacing": Words("Row spacing", "From the middle of one row to the middle of the next."),
    "speed": Words(
        "Usual speed",
        "What you plant at. A plan that is there keeps its own until you say otherwise.",
    ),
    "depth": Words(
        "Usual seed depth",
        "Dug up behind the planter. A plan that is there keeps its own until you say otherwise.",
    ),
    "unit_weight": Words(
        "Row unit, hopper empty",
        "Set one row unit down on a scale so that it rests there whole, its links level, springs "
        "slack or pressure off. Without seed and without what is weighed beside. 150 to 200 lb "
        "(70 to 90 kg) is common: an extension specialist, Iowa State.",
    ),
    "attachments": Words(
        "Attachments on it",
        "Row cleaner, coulter, brackets, what rides on the unit: weigh it taken off, or the unit "
        "again with it on. 0 for none.",
    ),
    "disc_diameter": Words(
        "Opener discs, across",
        "Measured. Worn discs are smaller. They plant to less than half of it.",
    ),
    "hopper": Words(
        "Seed in a full hopper",
        "From the manual; or fill it from bags whose weight is printed on them: 90 lb of corn at "
        "56 lb a bushel are 1.6 bu. 0 where seed comes to the rows by air.",
    ),
    "full": Words("Filled to", "How full you fill it, in percent."),
    "refill": Words("Filled again at", "How much is left when you fill again, in percent."),
    "test_weight": Words(
        "Weight of the seed",
        "56 lb a bushel is corn's by US grain standards. Weigh a dry quart and take it 32 times; "
        "or a litre, in kg.",
    ),
    "closing_wheel": Words("Kind of wheels", "Rules may ask for it."),
    "notches.name": Words("Notch {}", "As it is marked on the lever."),
    "notches.load": Words("Load at notch {}", ABOUT["notches"]),
    "positions": Words("At position {}", ABOUT["positions"]),
    "chart.0": Words("Pressure {}", ABOUT["chart"]),
    "chart.1": Words("Downforce {}", ABOUT["chart"]),
    "retrim": Words("Set again every", "How long it runs between two looks at the gauge."),
    "drift_per_hour": Words(
        "Drift in an hour", "Watch the gauge for an hour: what it loses by leaks or gains by sun."
    ),
    "sections": Words("Sections", "Groups of rows that share one pressure."),
    "sensors": Words("Rows with a load sensor", "How many rows measure the load."),
    "delay": Words(
        "Time until it answers",
        "From a change that is asked for to the first that can be seen. From the manual, or by a "
        "watch.",
    ),
    "time_constant": Words(
        "Time to most of it",
        "From there to two thirds of the change. From the manual, or by a watch.",
    ),
    "least": Words(
        "Lightest downforce",
        "What the cylinder gives at the least, on the scale or by the manual. Lift is negative; 0 "
        "where it only pushes.",
    ),
    "most": Words(
        "Heaviest downforce",
        "What the cylinder gives at the most, on the scale or by the manual. The frame's weight "
        "may end it sooner.",
    ),
    "attachment.name": Words("Attachment {}", ABOUT["attachment"]),
    "attachment.reaction": Words("Its push {}", ABOUT["attachment"]),
    "attachment.cuts_soil": Words("{} cuts soil", ABOUT["attachment"]),
    "swing": Words(
        "Swing of the load",
        "Standard deviation of the load on the gauge wheels about its mean, at the usual speed, "
        "where a monitor has recorded it. "
        "Empty: the rules' own.",
    ),
    "swing_tillage": Words(
        "Swing recorded on", "The ground it was recorded on. Empty: as planned."
    ),
    "light_to_heavy": Words(
        "Too light to too heavy",
        "How many pounds too heavy are as bad as one too light. 2 is our judgement: shallow seed "
        "costs about twice what a packed furrow does.",
    ),
}
