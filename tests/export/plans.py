"""A small plan made by hand: three zones on 300 m x 200 m whose areas can be counted.

Zone 1 is the west 200 m x 200 m less the hole of 60 m x 60 m that zone 2 fills; zone 2 waits
when wet; zone 3, the east 100 m, has no soil data.
"""

import datetime
from dataclasses import replace

from shapely.geometry import Polygon, box

from zoneplan.field.shapes import Field
from zoneplan.notices import Notice, notice
from zoneplan.plan.model import NoNumbers, Plan, Setting, Wait, ZoneSetting
from zoneplan.plan.requirement import Conditions
from zoneplan.rowunit.machine import Machine, Notch, Springs
from zoneplan.rules.rule import DECIDES, Reason, Rules, RuleSet
from zoneplan.soil.texture import SoilFacts
from zoneplan.terms import Confidence, Fitness, Ground, Moisture, SettingKind, Tillage
from zoneplan.zones.zone import Zone

AREAS_HA = {1: 3.64, 2: 0.36, 3: 2.0}  # WORKED: 200 x 200 - 60 x 60, 60 x 60, 100 x 200 m
FIELD_HA = 6.0  # WORKED: 300 x 200 m

WEST = Polygon(
    [(-150, -100), (50, -100), (50, 100), (-150, 100)],
    [[(-80, -30), (-80, 30), (-20, 30), (-20, -30)]],
)
HOLE = box(-80, -30, -20, 30)
EAST = Polygon([(50, -100), (150, -100), (150, 100), (50, 100)])

FIELD = Field(
    name="Crêt-du-Noyer, côté nord",
    shape=box(-150, -100, 150, 100),
    crs="+proj=laea +lat_0=42.05 +lon_0=-93.62 +datum=WGS84 +units=m",
    area_ha=FIELD_HA,
)

MACHINE = Machine(
    name="Eight rows on springs",
    rows=8,
    row_spacing_m=0.762,
    speed_mps=2.2352,
    depth_m=0.0508,
    unit_weight_n=1000.0,
    attachments_n=112.0,
    hopper_m3=0.056,
    fill_full=1.0,
    fill_refill=0.2,
    test_weight_kg_m3=721.0,
    notches=(Notch("light", 160.0), Notch("middle", 350.0), Notch("firm", 550.0)),
    system=Springs(positions_n=(0.0, 556.0, 1112.0, 1668.0)),
)
WEIGHT_FULL_N = 1508.0  # WORKED: 1000 + 112 + 0.056 m³ x 721 kg/m³ x 9.80665 m/s²
WEIGHT_REFILL_N = 1191.0  # WORKED: the same with a fifth of the seed, to the newton

REVISED = datetime.date(2026, 11, 20)
AIM, MOST, SWING, STOP, CLOSING = (RuleSet(decide, "N", REVISED, ()) for decide in DECIDES)
RULES = Rules(AIM, MOST, SWING, STOP, CLOSING, REVISED, "0123456789abcdef" * 4)

TOO_WET = Reason(
    rule="past-plastic",
    kind="stop",
    adds=None,
    why="The seed zone is past its plastic limit: any load smears the furrow. Wait.",
    source="judgement",
    confidence="judged",
)


def remarks(*words: str) -> tuple[Notice, ...]:
    """Notices that say just this."""
    return tuple(notice("remark", words=line) for line in words)


WAITING = Wait(0.8, 0.6, Confidence.JUDGED, (TOO_WET,), remarks("Wait."))
NO_DATA = NoNumbers(Ground.NO_DATA, (notice("no-numbers", ground="no data"),))


def settled(base_n: float, opener_n: float, notch: Notch, *words: str) -> Setting:
    """A setting at the second spring position, with a chain of two links on each side."""
    margin_n = base_n + 44.0
    need_n = margin_n + opener_n + notch.load_n
    left_full_n = WEIGHT_FULL_N + 556.0 - opener_n - notch.load_n
    left_refill_n = WEIGHT_REFILL_N + 556.0 - opener_n - notch.load_n
    return Setting(
        margin_n=margin_n,
        margin_least_n=margin_n - 110.0,
        margin_steady_n=margin_n - 10.0,
        swing_n=267.0,
        margin_most_n=margin_n + 220.0,
        gave_way=None,
        closing_load_n=notch.load_n,
        closing_notch=notch.name,
        opener_load_n=opener_n,
        opener_least_n=opener_n / 2,
        opener_most_n=opener_n * 2,
        attachments_load_n=0.0,
        downforce_full_n=need_n - WEIGHT_FULL_N,
        downforce_refill_n=need_n - WEIGHT_REFILL_N,
        setting=556.0,
        reached=left_refill_n >= margin_n - 110.0,
        margin_full_n=left_full_n,
        margin_refill_n=left_refill_n,
        command_n=556.0,
        inside_chance=0.5,
        light_chance=0.3,
        heavy_chance=0.2,
        contact_share=0.97,
        contact_full_share=0.99,
        contact_refill_share=0.93,
        shallow_share=0.03,
        state=Fitness.FIT,
        wait_chance=0.1,
        survey_wait_chance=None,
        confidence=Confidence.JUDGED,
        reasons=(
            Reason("base-ground", "base", base_n, "Where this soil starts.", "judgement", "judged"),
            Reason(
                "residue", "adjust", 44.0, "Residue – lifts the wheels.", "A. Né 2001", "advised"
            ),
        ),
        closing_reasons=(
            Reason("close-ground", "base", notch.load_n - 44.0, "Start.", "judgement", "judged"),
            Reason("close-dry", "adjust", 44.0, "Dry crumbs need load.", "judgement", "judged"),
        ),
        stop_reasons=(),
        notices=remarks(*words),
    )


LOAM = SoilFacts(
    texture="loam",
    sand_frac=0.4,
    silt_frac=0.4,
    clay_frac=0.2,
    organic_pct=3.5,
    density_mg_m3=1.35,
    drainage="Well drained",
    rated_share=1.0,
    named="L1 Crêt loam, 0 to 2 % slopes",
)
CLAY = SoilFacts(
    texture="silty clay",
    sand_frac=0.06,
    silt_frac=0.5,
    clay_frac=0.44,
    rated_share=0.8,
    named="C7 Flaque silty clay",
    notes=remarks("No organic matter is given for this soil."),
)
UNKNOWN = SoilFacts(ground="no data")
LIGHT, MIDDLE, FIRM = MACHINE.notches


def placed(setting: ZoneSetting) -> ZoneSetting:
    """The same, its notices told of its zone at their moisture, as a plan has them."""
    return replace(
        setting,
        moistures={
            moisture: replace(
                result,
                notices=tuple(
                    notice.at(zone=setting.zone.id, moisture=moisture) for notice in result.notices
                ),
            )
            for moisture, result in setting.moistures.items()
        },
    )


UNPLACED = (
    ZoneSetting(
        Zone(
            1,
            WEST,
            3.64,
            LOAM,
            (("L1 Crêt loam, 0 to 2 % slopes", 0.75), ("L2 loam", 0.25)),
            treatment=1,
        ),
        {
            Moisture.DRY: settled(600.0, 1000.0, FIRM, "Short of the target at refill."),
            Moisture.MOIST: settled(500.0, 800.0, MIDDLE),
            Moisture.WET: settled(
                350.0, 600.0, LIGHT, "Check the sidewall.", "Try the lightest notch."
            ),
        },
    ),
    ZoneSetting(
        Zone(2, HOLE, 0.36, CLAY, (("C7 Flaque silty clay", 1.0),), treatment=2),
        {
            Moisture.DRY: settled(700.0, 1200.0, FIRM),
            Moisture.MOIST: settled(450.0, 900.0, MIDDLE),
            Moisture.WET: WAITING,
        },
    ),
    ZoneSetting(
        Zone(3, EAST, 2.0, UNKNOWN, treatment=3),
        {Moisture.DRY: NO_DATA, Moisture.MOIST: NO_DATA, Moisture.WET: NO_DATA},
    ),
)
SETTINGS = tuple(map(placed, UNPLACED))


def small_plan() -> Plan:
    """The plan that the export tests write and read back."""
    return Plan(
        field=FIELD,
        machine=MACHINE,
        conditions=Conditions(Tillage.NO_TILL, speed_mps=2.2352, depth_m=0.0508, residue_frac=0.6),
        rules=RULES,
        settings=SETTINGS,
        uncovered_ha=2.0,
        setting_kind=SettingKind.SPRING_POSITION,
        setting_unit="N",
        best={Moisture.DRY: 556.0, Moisture.MOIST: 556.0, Moisture.WET: None},
        notices=remarks("2.00 ha have no soil data."),
    )
