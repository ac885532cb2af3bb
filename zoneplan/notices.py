"""What a reader should know, as facts: Notice, and every code in one table.

The core returns notices and never a sentence. `say` puts them into words, by reader and by
unit system; what merges, counts, compares or filters them goes by code.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any

from zoneplan.terms import Moisture

Value = str | float | int | bool | tuple[str, ...] | tuple[int, ...] | None


class Severity(StrEnum):
    """How much a notice asks of its reader."""

    NOTE = "note"  # how the plan came about
    ASSUMED = "assumed"  # what is not known, and was taken
    WATCH = "watch"  # look at it in the field
    WARNING = "warning"  # a number is not what it should be


@dataclass(frozen=True)
class Notice:
    """One thing to know. Its values are in SI, each named with its unit, and hashable."""

    code: str  # a key of CODES
    values: tuple[tuple[str, Value], ...] = ()  # in the order of their names
    zone: int | None = None
    moisture: Moisture | None = None
    rule: str | None = None  # id of the rule that speaks
    layer: str | None = None  # name of the layer, or the file, that it tells of

    @property
    def severity(self) -> Severity:
        """How much it asks of its reader."""
        return CODES[self.code].severity

    def __getitem__(self, name: str) -> Any:
        """Give one of its values."""
        return dict(self.values)[name]

    def at_field(self) -> "Notice":
        """Say the same without its zone."""
        return replace(self, zone=None)

    def at(self, *, zone: int | None = None, moisture: Moisture | None = None) -> "Notice":
        """Say the same of a zone or at a moisture."""
        return replace(
            self,
            zone=self.zone if zone is None else zone,
            moisture=self.moisture if moisture is None else moisture,
        )

    def of(self, layer: str) -> "Notice":
        """Say it of a layer, unless it names one already: that of a file within."""
        return self if self.layer is not None else replace(self, layer=layer)


@dataclass(frozen=True)
class Kind:
    """What notices of one code carry."""

    severity: Severity
    values: tuple[str, ...] = ()


def notice(
    code: str,
    *,
    zone: int | None = None,
    moisture: Moisture | None = None,
    rule: str | None = None,
    layer: str | None = None,
    **values: Value,
) -> Notice:
    """Make a notice; its values are those that its code carries, no more and no fewer.

    Raises
    ------
    KeyError, ValueError
        For a code that nobody listed, or values that are not the code's: our bug.

    Examples
    --------
    >>> floating = notice("openers-float", zone=3)
    >>> floating.severity, floating.zone
    (<Severity.WARNING: 'warning'>, 3)
    """
    if sorted(CODES[code].values) != sorted(values):
        raise ValueError(f"{code} carries {CODES[code].values}, not {sorted(values)}")
    return Notice(code, tuple(sorted(values.items())), zone, moisture, rule, layer)


def notice_from(record: Mapping[str, Any]) -> Notice:
    """Make a notice again from what `as_dict` wrote."""
    moisture = record.get("moisture")
    return notice(
        record["code"],
        zone=record.get("zone"),
        moisture=None if moisture is None else Moisture(moisture),
        rule=record.get("rule"),
        layer=record.get("layer"),
        **{
            name: tuple(value) if isinstance(value, list) else value
            for name, value in record["values"].items()
        },
    )


def as_dict(notice: Notice) -> dict[str, Any]:
    """Lay a notice out for a file."""
    return {
        "code": notice.code,
        "severity": str(notice.severity),
        "zone": notice.zone,
        "moisture": None if notice.moisture is None else str(notice.moisture),
        "rule": notice.rule,
        "layer": notice.layer,
        "values": dict(notice.values),
    }


_NOTE, _ASSUMED, _WATCH, _WARNING = Severity

CODES: dict[str, Kind] = {
    # what was assumed of a soil
    "texture-from-class": Kind(_ASSUMED, ("texture", "sand_frac", "clay_frac")),
    # what a blend of soils leaves out
    "part-by-class": Kind(_NOTE, ("share", "whole")),
    "part-other-ground": Kind(_NOTE, ("share", "ground", "whole")),
    # outlines and places
    "no-areas-left-out": Kind(_NOTE, ("file", "others")),
    "outline-repaired": Kind(_NOTE, ("what", "source", "fault", "latitude_deg", "longitude_deg")),
    "shapes-outside": Kind(_NOTE, ("outside", "shapes")),
    "no-lines-or-polygons": Kind(_NOTE, ("unusable", "shapes")),
    "lines-as-wide": Kind(_NOTE, ("width_m",)),
    "drawn-overlap": Kind(_NOTE, ("first", "second", "area_ha")),
    "headland-laid": Kind(_NOTE, ("passes", "width_m", "sides")),
    "all-headland": Kind(_NOTE, ("narrow", "of")),
    "layers-disagree": Kind(_WATCH, ("first", "first_says", "other", "other_says", "area_ha")),
    "layer-supplies": Kind(_NOTE, ("properties", "share")),
    "hairlines-closed": Kind(_NOTE, ("strips", "width_m", "area_ha")),
    # a soil survey
    "survey-lines": Kind(_NOTE, ("table_layout",)),
    "survey-vintage": Kind(
        _NOTE, ("area", "area_name", "version", "refreshed", "asked", "asked_of")
    ),
    "survey-none-near": Kind(_NOTE),
    "survey-without-horizons": Kind(_WATCH, ("soils",)),
    "survey-map-left-out": Kind(_NOTE, ("map", "other", "areas")),
    "survey-columns-missing": Kind(_NOTE, ("columns",)),
    "survey-without-kinds": Kind(_NOTE),
    "survey-headings": Kind(_NOTE, ("file", "in_order")),
    "survey-unit-unknown": Kind(_NOTE, ("unit",)),
    "component-share-unknown": Kind(_NOTE, ("component", "unit")),
    "components-scaled": Kind(_NOTE, ("unit", "total_pct")),
    "organic-cover-left-out": Kind(_NOTE, ("component", "depth_m")),
    "horizon-without-depth": Kind(_NOTE, ("component", "horizon")),
    "horizon-upside-down": Kind(_NOTE, ("component", "horizon", "top_m", "bottom_m")),
    "horizon-missing": Kind(_NOTE, ("component", "top_m", "bottom_m")),
    "horizons-overlap": Kind(_NOTE, ("component", "top_m", "bottom_m")),
    "horizon-scaled": Kind(_NOTE, ("component", "horizon", "total_pct")),
    # texture in polygons, rasters and samples
    "texture-unit": Kind(_NOTE, ("parts", "unit")),
    "texture-scaled": Kind(_NOTE, ("parts", "off_pct")),
    "texture-part-left": Kind(_ASSUMED, ("part", "parts")),
    "texture-parts-left-out": Kind(_NOTE, ("parts",)),
    "texture-part-summed": Kind(_ASSUMED, ("part", "columns", "total")),
    "polygons-scaled": Kind(_NOTE, ("scaled", "polygons", "off_pct")),
    "polygons-without-texture": Kind(_NOTE, ("without", "polygons")),
    "rows-scaled": Kind(_NOTE, ("scaled", "rows", "off_pct")),
    "cells-without-values": Kind(_NOTE, ("parts", "cells", "share")),
    "cells-with-some-values": Kind(_NOTE, ("parts", "cells", "share")),
    "cells-all-zero": Kind(_NOTE, ("parts", "cells", "share")),
    "cells-off": Kind(_NOTE, ("parts", "cells", "share")),
    "cells-without-organic": Kind(_NOTE, ("parts", "cells", "share")),
    "organic-unit": Kind(_NOTE, ("unit", "carbon")),
    "band-left-out": Kind(_NOTE, ("band",)),
    "band-on-other-cells": Kind(_NOTE, ("part", "first")),
    # points, what is kriged from them, and conductivity
    "decimal-commas": Kind(_NOTE),
    "places-read-in": Kind(_NOTE, ("system",)),
    "points-without-value": Kind(_NOTE, ("left", "points")),
    "points-outside": Kind(_NOTE, ("left", "points", "margin_m")),
    "points-negative": Kind(_NOTE, ("left", "points")),
    "points-in-one-place": Kind(_NOTE, ("left", "points")),
    "points-thinned": Kind(_NOTE, ("points", "blocks", "block_m")),
    "points-outlying": Kind(_NOTE, ("left", "points", "most_modified_z", "neighbours")),
    "samples-unlike": Kind(_WATCH, ("flagged", "samples", "places")),
    "kriged": Kind(_NOTE, ("value", "points", "block_m", "off", "bias", "r2", "reach_m")),
    "kriged-mean": Kind(_NOTE, ("value", "points", "block_m", "mean", "r2", "least_r2", "reach_m")),
    "kriged-texture-scaled": Kind(_NOTE, ("off_pct",)),
    "organic-too-few": Kind(_NOTE, ("points", "wanted")),
    "samples-instead": Kind(_WATCH, ("conductivity",)),
    "conductivity-few-samples": Kind(_NOTE, ("samples", "wanted")),
    "cells-negative": Kind(_NOTE, ("cells", "share")),
    "conductivity-column": Kind(_NOTE, ("column",)),
    "conductivity-set-aside": Kind(_NOTE),
    "conductivity-fit": Kind(
        _NOTE, ("part", "slope_frac", "samples", "r2", "left_out_r2", "left_out_frac")
    ),
    "conductivity-says-no-texture": Kind(_NOTE, ("least_r2",)),
    "conductivity-beyond-samples": Kind(_ASSUMED, ("share", "low", "high")),
    "sand-as-in-samples": Kind(_ASSUMED, ("share",)),
    "conductivity-draws-edges": Kind(_NOTE, ("low", "high")),
    "conductivity-draws-no-edges": Kind(_NOTE),
    # heights
    "heights-reach": Kind(_NOTE, ("file", "reach_m")),
    "heights-end-at-field": Kind(_NOTE, ("file",)),
    "heights-asked": Kind(_NOTE, ("asked", "asked_of", "cell_m", "gaps")),
    "height-unit-unknown": Kind(_ASSUMED, ("file",)),
    "heights-in-steps": Kind(_NOTE, ("file", "step_m", "lost_slope_frac")),
    # zones, and what a person changed in them; `before_edits` where the zones are others since
    "zones-keep": Kind(
        _NOTE, ("zones", "treatments", "kept_share", "rms_n", "fewer", "fewer_share")
    ),
    "one-treatment": Kind(_NOTE, ("rms_n",)),
    "uniform-ground": Kind(_NOTE, ("rms_n",)),
    "more-zones-than-asked": Kind(_WATCH, ("zones", "asked")),
    "thin-parts-left": Kind(_WATCH, ("share",)),
    "edges-not-straightened": Kind(_NOTE, ("would",)),
    "edit-outside-field": Kind(_WARNING, ("change", "edit")),
    "split-parts-none": Kind(_WARNING, ("change",)),
    "split-leaves-some": Kind(_WATCH, ("change", "zones")),
    "merge-within-zone": Kind(_WARNING, ("change", "zones")),
    "merge-without-border": Kind(_WARNING, ("change", "zones")),
    "later-edit-stands": Kind(_WATCH, ("zones", "stands", "falls")),
    "edit-of-part": Kind(_WATCH, ("changes", "zones", "parted")),
    # what the machine can hold
    "misses-target": Kind(
        _WARNING, ("target_n", "full_n", "refill_n", "full_gap_n", "refill_gap_n")
    ),
    "openers-float": Kind(_WARNING),
    "needs-more-downforce": Kind(_WARNING, ("needed_n", "most_n")),
    "needs-less-downforce": Kind(_WARNING, ("needed_n", "least_n")),
    "own-position": Kind(_NOTE, ("position_n",)),
    "at-one-pressure": Kind(_NOTE, ("pressure_kpa", "full_n", "refill_n")),
    "off-at-one-setting": Kind(_WARNING, ("light_share", "heavy_share", "loss_share")),
    "position-as-good": Kind(_NOTE, ("position_n",)),
    "one-position": Kind(_NOTE, ("position_n", "light_share", "heavy_share", "resolution_n")),
    "one-pressure": Kind(
        _NOTE, ("pressure_kpa", "downforce_n", "light_share", "heavy_share", "resolution_n")
    ),
    "slides-with-seed": Kind(_NOTE, ("seed_n",)),
    "pressure-drifts": Kind(_NOTE, ("retrim_s", "drift_kpa", "lowest_n", "highest_n", "clipped")),
    "target-held": Kind(_NOTE, ("held_share", "least_n", "most_n")),
    "settles-after": Kind(_NOTE, ("speed_mps", "distance_m")),
    "takes-lift": Kind(_NOTE, ("share",)),
    "sensors-are-few": Kind(_NOTE, ("sensors", "rows", "sections", "section_m")),
    "each-row-feels": Kind(_NOTE, ("rows",)),
    "zone-narrow": Kind(_WARNING, ("width_m", "section_m")),
    "zone-short": Kind(_WARNING, ("length_m", "settle_m")),
    # what the rules and a person say
    "rule-warns": Kind(_WATCH, ("words",)),
    "part-warned": Kind(_WATCH, ("share", "words")),
    "override-stands": Kind(_NOTE, ("decides", "margin_n", "notch", "why", "source")),
    "override-left-out": Kind(_WARNING, ("decides", "margin_n", "notch", "why", "who", "waits")),
    "rules-not-stock": Kind(_NOTE, ("rules",)),
    "rules-dropped": Kind(_NOTE, ("rules",)),
    # what the plan makes of both
    "no-numbers": Kind(_NOTE, ("ground",)),
    "no-good-margin": Kind(
        _WARNING, ("speed_mps", "least_n", "most_n", "contact_share", "steady_mps")
    ),
    "bears-little": Kind(
        _WARNING, ("speed_mps", "least_n", "most_n", "contact_share", "steady_mps")
    ),
    "own-number-outside": Kind(_WARNING, ("margin_n", "least_n", "most_n")),
    "own-number-far": Kind(_WARNING, ("margin_n", "least_n", "most_n")),  # asked before it is put
    "squeeze-test": Kind(_WATCH, ("smear_chance",)),
    "survey-differs": Kind(_NOTE, ("smear_chance", "survey_chance")),
    "packs": Kind(_WARNING, ("fill", "left_n", "most_n", "over_n")),
    "fill-less": Kind(_WATCH, ("fill_share",)),
    "refill-sooner": Kind(_WATCH, ("fill_share",)),
    "wheels-lift": Kind(_WARNING, ("up_share",)),
    "seldom-right": Kind(_WARNING, ("right_share", "light_share", "heavy_share")),
    "closing-outside-best": Kind(_NOTE, ("load_n", "beside")),
    "usual-day": Kind(_NOTE, ("available_share",)),
    "part-waits": Kind(_WATCH, ("share",)),
    "generic-machine": Kind(_WARNING),
    "no-till-swing": Kind(_NOTE),
    "absorbed-soil": Kind(_NOTE, ("area_ha", "soil", "waits", "differs_n", "warned")),
    "margin-system-answers": Kind(_NOTE),
    "hand-check": Kind(_NOTE, ("found_n", "modelled_n", "factor", "weighed")),
    "hand-check-refused": Kind(_WARNING),
    "drier-lifted": Kind(_NOTE),
    "contact-basis": Kind(_NOTE),
    "hand-test": Kind(_WATCH),
    "slope-swings": Kind(_NOTE, ("wider_share",)),
    "mark-without-zone": Kind(_NOTE, ("share", "mark")),
    "remark": Kind(_NOTE, ("words",)),
}
