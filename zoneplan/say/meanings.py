"""The words of the trade that a page or a sheet uses, each in one line."""

MARGIN = "the load left on the gauge wheels of each row once the openers hold their depth"
MEANINGS = {
    "Margin target": "the margin to aim for. Below the least margin the wheels are off the ground "
    "more than 4 % of the time; above the most the soil packs. Between them lies the window.",
    "Full, refill": "the hopper as it is filled, and with so little seed left that it is filled "
    "again.",
    "Opener load": "the soil's push back on the opener discs at planting depth.",
    "Closing notch": "where the lever of the closing wheels stands: how firmly they press.",
    "Swing": "how far the load on the gauge wheels goes up and down as the row unit rides over "
    "the ground.",
    "Of 10 rounds": "how often it would come out so, if such ground were planted ten times.",
    "Squeeze first": "squeeze a handful from planting depth: if it sticks to the palm or stays a "
    "ball, wait.",
    "Usual day": "how wet this ground is on a usual planting day, by its drainage and slope.",
    "Treatment": "what the planter is told: zones that are told the same are one treatment.",
    "Measured, advised, judged": "how sure a number is: a source measured it; a source "
    "recommends it; a source backs the direction at most, and the number is ours.",
    "Stock rule": "a rule as it comes with zoneplan.",
}
