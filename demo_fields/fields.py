"""The three demo fields, drawn by hand in metres from the south-west corner of their section."""

from dataclasses import dataclass

from drawing import Point, blob, cut_out, smooth, strip
from shapely.geometry import MultiPolygon, Polygon, box

COOP = "Neverwas Growers Co-op"


@dataclass(frozen=True)
class DemoField:
    """A field as it is drawn: metres from the corner, which is a (longitude, latitude)."""

    name: str
    farm: str
    grower: str
    township: str
    corner: Point
    outline: Polygon | MultiPolygon
    surveyed: Polygon  # how far the soil map reaches
    painted: tuple[tuple[str, Polygon], ...]  # map unit and shape, later ones on top

    @property
    def labels(self) -> dict[str, str]:
        """What the boundary file says of the field."""
        return {
            "name": self.name,
            "farm": self.farm,
            "grower": self.grower,
            "township": self.township,
            "coop": COOP,
        }


def creek() -> DemoField:
    """Draw a rolling quarter section, cut off by a creek in its north-east corner."""
    bank = [(900, 420), (790, 505), (735, 540), (715, 610), (655, 645), (635, 715), (570, 745)]
    beyond_creek = Polygon([*smooth([*bank, (550, 805), (540, 900)]), (900, 900)])
    waterway = strip([(720, 625), (640, 575), (585, 515), (525, 480), (470, 400)], 16)
    surveyed = box(-60, -60, 865, 865)
    foot_slopes = blob(
        (60, -200), (70, 20), (175, 100), (185, 215), (255, 310), (330, 440), (450, 520),
        (525, 640), (470, 760), (440, 1000), (1000, 1000), (1000, 300), (850, 400), (735, 425),
        (625, 430), (560, 325), (430, 300), (405, 185), (320, 120), (325, 0), (300, -200),
    )  # fmt: skip
    side_draw = blob(
        (95, 470), (150, 500), (230, 455), (330, 465), (390, 380), (300, 320), (225, 350),
        (150, 385), (100, 420),
    )  # fmt: skip
    drainage = blob(
        (140, -200), (150, 10), (225, 120), (275, 190), (300, 300), (400, 375), (470, 480),
        (580, 575), (560, 700), (500, 800), (490, 1000), (1000, 1000), (1000, 380), (820, 450),
        (730, 500), (640, 510), (565, 425), (500, 385), (430, 330), (370, 265), (335, 170),
        (260, 80), (230, 0), (240, -200),
    )  # fmt: skip
    side_run = blob(
        (180, 452), (235, 425), (310, 432), (420, 430), (400, 365), (340, 392), (280, 390),
        (225, 395), (170, 430),
    )  # fmt: skip
    shoulder = blob(
        (395, 20), (430, 120), (480, 205), (560, 270), (640, 340), (725, 360), (755, 315),
        (690, 290), (620, 245), (545, 180), (520, 95), (480, 20), (430, -30),
    )  # fmt: skip
    knob_slopes = blob(
        (40, 610), (100, 570), (175, 580), (225, 640), (260, 730), (230, 800), (140, 835),
        (60, 780), (20, 690),
    )  # fmt: skip
    return DemoField(
        name="Creek field",
        farm="Two Left Boots Farm",
        grower="A. Sample",
        township="Upper Neverwas Township",
        corner=(-87.1, 42.54),
        outline=cut_out(box(12, 10, 795, 793), beyond_creek, waterway),
        surveyed=surveyed,
        painted=(
            ("12B", surveyed),
            ("24A", foot_slopes),
            ("24A", side_draw),
            ("31", drainage),
            ("31", side_run),
            ("27C2", shoulder),
            ("17C", knob_slopes),
            ("15C", blob((90, 640), (150, 615), (200, 665), (215, 740), (160, 780), (95, 735))),
            ("36", blob((610, 120), (640, 170), (700, 178), (730, 135), (690, 98), (640, 90))),
        ),
    )


def bottom() -> DemoField:
    """Draw two parts of a river bottom, inside a bend, with a farmstead in the larger one."""
    bank = [(590, 1000), (640, 900), (695, 800), (770, 700), (790, 570), (740, 450), (640, 350)]
    river = Polygon(
        [
            *smooth([*bank, (570, 265), (470, 200), (415, 105), (430, 0), (450, -90)]),
            (1200, -90),
            (1200, 1000),
        ]
    )
    ditch = strip([(-90, 302), (130, 308), (330, 335), (520, 330), (800, 350)], 16)
    farmstead = Polygon([(150, 588), (264, 590), (263, 652), (238, 693), (149, 691)])
    surveyed = box(-60, 96, 860, 960)  # the next survey area begins at a section line
    back_swamp = blob(
        (-200, -200), (150, -200), (205, 110), (165, 210), (215, 300), (250, 395), (300, 450),
        (255, 525), (150, 545), (90, 620), (-20, 660), (-200, 670),
    )  # fmt: skip
    levee = blob(
        (640, 1100), (700, 900), (800, 790), (850, 640), (830, 480), (730, 360), (660, 290),
        (600, 230), (510, 150), (470, 40), (480, -100), (390, -100), (330, 40), (350, 150),
        (405, 225), (470, 255), (500, 330), (590, 385), (630, 450), (705, 520), (690, 610),
        (660, 720), (575, 800), (565, 900), (480, 1100),
    )  # fmt: skip
    inner_ridge = blob(
        (455, 1000), (480, 905), (540, 800), (600, 700), (620, 600), (575, 500), (510, 430),
        (470, 445), (520, 510), (560, 600), (545, 690), (480, 790), (410, 900), (380, 1000),
    )  # fmt: skip
    south_ridge = blob(
        (255, 40), (270, 150), (320, 215), (395, 270), (365, 296), (275, 250), (200, 60)
    )
    old_bend = blob(
        (330, 870), (390, 830), (450, 745), (490, 650), (480, 560), (420, 490), (350, 465),
        (335, 510), (385, 555), (410, 620), (385, 700), (335, 770), (285, 830),
    )  # fmt: skip
    water = blob(
        (410, 745), (445, 690), (465, 620), (445, 555), (415, 545), (430, 600), (425, 665),
        (395, 720),
    )  # fmt: skip
    return DemoField(
        name="River bottom",
        farm="Wet Sock Farm",
        grower="B. Specimen",
        township="Lower Neverwas Township",
        corner=(-87.06, 42.5),
        outline=cut_out(box(10, 10, 900, 900), river, ditch, farmstead),
        surveyed=surveyed,
        painted=(
            ("42", surveyed),
            ("36", back_swamp),
            ("47", inner_ridge),
            ("47", south_ridge),
            ("45A", levee),
            ("51", old_bend),
            ("W", water),
        ),
    )


def level() -> DemoField:
    """Draw half a quarter section of silt, clipped by a railway line, with a waterway."""
    railway = Polygon([(690, -10), (830, 150), (830, -10)])
    waterway = strip([(420, 420), (405, 340), (370, 285), (358, 215)], 14)
    surveyed = box(-60, -60, 865, 465)
    swell = blob(
        (-200, 330), (-20, 200), (90, 175), (190, 235), (275, 300), (290, 400), (240, 600),
        (-200, 600),
    )  # fmt: skip
    swale = blob(
        (340, 700), (350, 440), (340, 350), (300, 270), (275, 180), (215, 100), (190, 0),
        (180, -200), (330, -200), (330, 10), (375, 100), (400, 190), (450, 270), (465, 360),
        (500, 450), (510, 700),
    )  # fmt: skip
    east_swale = blob(
        (560, -200), (600, 20), (660, 110), (700, 190), (780, 230), (1000, 250), (1000, 150),
        (820, 150), (770, 80), (740, -200),
    )  # fmt: skip
    return DemoField(
        name="Level eighty",
        farm="Third Pancake Farm",
        grower="C. Placeholder",
        township="Middle Neverwas Township",
        corner=(-87.02, 42.56),
        outline=cut_out(box(10, 10, 792, 398), railway, waterway),
        surveyed=surveyed,
        painted=(
            ("40A", surveyed),
            ("40B", swell),
            ("40B", blob((590, 330), (660, 300), (745, 330), (760, 420), (690, 440), (610, 410))),
            ("43A", swale),
            ("43A", east_swale),
            ("31", blob((240, 95), (285, 150), (345, 140), (360, 80), (320, 35), (265, 40))),
        ),
    )
