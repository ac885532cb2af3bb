"""The closed sets of words: a kind is told by its member, never by a sentence.

Each member is the word that files carry.
"""

from enum import StrEnum


class Moisture(StrEnum):
    """How wet the soil is, from what the hand finds at planting depth."""

    DRY = "dry"
    MOIST = "moist"
    WET = "wet"


class Tillage(StrEnum):
    """How the ground was prepared."""

    TILLED = "tilled"
    STRIP_TILL = "strip-till"
    NO_TILL = "no-till"


class System(StrEnum):
    """What presses a row unit down."""

    SPRINGS = "springs"
    SET_AIR = "set-air"
    CLOSED_LOOP_AIR = "closed-loop-air"
    HYDRAULIC = "hydraulic"


class ClosingWheel(StrEnum):
    """What closes the furrow."""

    RUBBER = "rubber"
    CAST = "cast"
    SPIKED = "spiked"
    ONE_OF_EACH = "one of each"  # one spiked, one smooth
    CHAIN = "chain"  # dragged behind smooth wheels


class SettingKind(StrEnum):
    """What is set on a machine."""

    SPRING_POSITION = "spring position"
    AIR_PRESSURE = "air pressure"
    MARGIN_TARGET = "margin target"


class Fitness(StrEnum):
    """What a soil at a moisture asks of the planter's driver."""

    FIT = "fit"
    TEST = "test"
    WAIT = "wait"


class Confidence(StrEnum):
    """How sure a number is, from most to least."""

    MEASURED = "measured"
    ADVISED = "advised"
    JUDGED = "judged"


class Ground(StrEnum):
    """What a piece of ground can be. Only soil ever gets numbers."""

    SOIL = "soil"
    ORGANIC = "organic"
    WATER = "water"
    NOT_SOIL = "not soil"
    NO_DATA = "no data"


class FileKind(StrEnum):
    """Files of a plan that can be asked for; plan.json is always written."""

    ZONES = "zones"
    TASKSET = "taskset"
    SHEETS = "sheets"
    PAGE = "page"


class MarkKind(StrEnum):
    """What somebody said of a place apart from its soil."""

    HEADLAND = "headland"
    TRACK = "track"
    DRAWN = "drawn"  # a zone that a person drew
    EDGE_CLASS = "edge class"  # a class of a layer that only draws edges
