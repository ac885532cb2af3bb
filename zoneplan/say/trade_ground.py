"""What the notices of the ground say: its soils, how files were read, its zones."""

from collections.abc import Mapping
from typing import Any

from zoneplan.say.sentences import Template

_WOULD = {
    "would not tile": "the zones would no longer tile the field",
    "would be narrow": "some zone would be thinner than asked",
}


def _keep(values: Mapping[str, Any]) -> str:
    words = (
        "{zones:count} zones in {treatments:count} treatments keep {kept_share:share kept} of the "
        "variation in the need for downforce; inside them it strays by about {rms_n:load}"
    )
    if values["fewer"] is not None:
        words += "; {fewer:count} would keep {fewer_share:share kept}"
    return words


def _of_part(values: Mapping[str, Any]) -> str:
    have = "have" if len(values["parted"]) > 1 else "has"
    return (
        f"{{changes:changes}}: now of {{zones:zones}} alone, for {{parted:zones}} {have} been "
        "split off it since; make the same change there where it is meant"
    )


NOT_PLACED = {  # of a change by hand, and why it fits nowhere: `plan.places.left_out`
    "edit-outside-field": "its place is outside the field",
    "split-parts-none": "its line crosses no zone from edge to edge",
    "merge-within-zone": "both its places are in one zone already",
    "merge-without-border": "its two zones share no border",
}
ZONES: dict[str, Template] = {
    "zones-keep": _keep,
    "one-treatment": "one treatment: what the soils need differs by about {rms_n:load}, and one "
    "setting serves them all. The plan's worth lies in the right level, the three moistures and "
    "the hand check",
    "uniform-ground": "the ground is uniform: a finer soil map would draw no other zones. The "
    "plan's worth lies in the right level, the three moistures and the hand check",
    "more-zones-than-asked": "{zones:count} zones, though no more than {asked:count} were asked "
    "for: other kinds of ground and zones that a person drew do not join",
    "thin-parts-left": "{share:small share} of the field lies in parts of zones that are thinner "
    "than asked: whatever is beside them would get as thin",
    "edges-not-straightened": lambda values: (
        "the edges of the zones are left as the layers have "
        f"them: straightened, {_WOULD[values['would']]}"
    ),
    "edit-outside-field": "change {change:count} ({edit}) is left out: its place is outside the "
    "field. Choose one in the zone that it is meant for",
    "split-parts-none": "change {change:count} (split) is left out: its line crosses no zone from "
    "edge to edge. Draw it on past the edges of the zone that it is meant to split",
    "split-leaves-some": "change {change:count} (split) does not split {zones:zones}, which its "
    "line does not cross from edge to edge. Draw it on past the edge where it is meant to",
    "merge-within-zone": "change {change:count} (join) is left out: both its places are in "
    "{zones:zones} already. Choose a place in each of two neighbours",
    "merge-without-border": "change {change:count} (join) is left out: {zones:zones} share no "
    "border. Join what lies between them first, or choose two neighbours",
    "later-edit-stands": "{zones:zones}: change {stands:count} counts, and not change "
    "{falls:count}, for the zones that they were made for have been joined; take back the one "
    "that is not meant",
    "edit-of-part": _of_part,
}


_IS = {
    "soil": "is soil",
    "organic": "is organic",
    "water": "is water",
    "not soil": "is not soil",
    "no data": "has no data",
}


def _by_class(values: Mapping[str, Any]) -> str:
    return (
        f"{{share:small share}} of {_whole(values)} is known by texture class only: left out of "
        "sand, silt and clay"
    )


def _other_ground(values: Mapping[str, Any]) -> str:
    return f"{{share:small share}} of {_whole(values)} {_IS[values['ground']]}"


def _whole(values: Mapping[str, Any]) -> str:
    """The name of what was blended, where it has one."""
    return "it" if values["whole"] is None else "{whole}"


SOIL: dict[str, Template] = {
    "texture-from-class": "only the texture class is known: {sand_frac:share} sand and "
    "{clay_frac:share} clay taken for {texture}",
    "part-by-class": _by_class,
    "part-other-ground": _other_ground,
}


_OUTLINES = {
    "boundary": "the boundary",
    "polygon": "a polygon of {source}",
    "soil polygon": "a soil polygon of {source}",
}
_KRIGED = {  # what each value is called, and the kinds of figure that it and its bias are
    "conductivity": ("conductivity", "one decimal", "bias"),
    "sand_frac": ("sand", "tenths", "share bias"),
    "silt_frac": ("silt", "tenths", "share bias"),
    "clay_frac": ("clay", "tenths", "share bias"),
    "organic_pct": ("organic matter", "percent", "percent bias"),
}
_UNITS = {"fraction": "fractions of 1"}
_CELLS = " in {cells:count} cells, {share:small share} of the field: not known there"
_LEFT = "{left:count} of {points:count} points left out: "


def _repaired(values: Mapping[str, Any]) -> str:
    near = ""
    if values["latitude_deg"] is not None:
        near = " near latitude {latitude_deg:degrees}, longitude {longitude_deg:degrees}"
    return (
        f"{_OUTLINES[values['what']]} crossed itself ({{fault}}{near}); repaired, its area is "
        "the same"
    )


def _headland(values: Mapping[str, Any]) -> str:
    laid = "1 pass" if values["passes"] == 1 else "{passes:count} passes"
    along = "the whole edge, holes too"
    if values["sides"] is not None:
        along = "the sides that face {sides:row}"
    return f"{laid} of {{width_m:width}} along {along}"


def _all_headland(values: Mapping[str, Any]) -> str:
    which = "the field is"
    if values["of"] > 1:
        which = "{narrow:count} of the field's {of:count} parts are"
    return f"{which} too narrow for ground between headlands, and all headland"


def _hairlines(values: Mapping[str, Any]) -> str:
    strips = "1 strip" if values["strips"] == 1 else "{strips:count} strips"
    return (
        f"{strips} narrower than {{width_m:length}} between outlines went to the ground beside: "
        "{area_ha:plot} together"
    )


def _survey(values: Mapping[str, Any]) -> str:
    layout = "" if values["table_layout"] is None else ", table layout {table_layout}"
    return (
        f"soil survey{layout}. Its lines are drawn for maps of about 1:12,000 to 1:24,000, and "
        "other soils lie within them: they are no surveyed edges"
    )


def _vintage(values: Mapping[str, Any]) -> str:
    named = " ({area_name})" if values["area_name"] else ""
    version = ", version {version}" if values["version"] else ""
    refreshed = ", refreshed {refreshed}" if values["refreshed"] else ""
    asked = f"; asked {{asked}}{' of {asked_of}' if values['asked_of'] else ''}"
    return (
        f"survey area {{area}}{named}{version}{refreshed}{asked if values['asked'] else ''}. The "
        "refresh is not the field work, which is far older. Soil Survey Staff, Natural Resources "
        "Conservation Service, United States Department of Agriculture: Soil Survey Geographic "
        "(SSURGO) Database"
    )


def _heights_asked(values: Mapping[str, Any]) -> str:
    gaps = "; it has none of some ground about the field" if values["gaps"] else ""
    return (
        "heights of the bare ground (NAVD88) in cells of {cell_m:width}, asked {asked} of "
        f"{{asked_of}}{gaps}. Map services and data available from U.S. Geological Survey, "
        "National Geospatial Program"
    )


def _headings(values: Mapping[str, Any]) -> str:
    words = "{file:name} starts with a row of headings"
    if values["in_order"]:
        return f"{words}, which was skipped"
    return f"{words} in another order than the dictionary's; the headings say which column is which"


def _unit(values: Mapping[str, Any]) -> str:
    return f"{{parts:list}} are read as {_UNITS.get(values['unit'], '{unit}')}"


def _organic(values: Mapping[str, Any]) -> str:
    unit = _UNITS.get(values["unit"], "{unit}")
    if values["carbon"]:
        return f"organic matter is organic carbon, read as {unit}, times 1.724"
    return f"organic matter is read as {unit}"


def _kriged(values: Mapping[str, Any]) -> str:
    name, kind, bias = _KRIGED[values["value"]]
    return (
        f"{name} is kriged from {_points(values)}: off by {{off:{kind}}} on points left out "
        f"(bias {{bias:{bias}}}, R² {{r2:ratio}}); {_REACH}"
    )


def _kriged_mean(values: Mapping[str, Any]) -> str:
    name, kind, _ = _KRIGED[values["value"]]
    return (
        f"{name} shows no pattern over {_points(values)} (kriged, R² {{r2:ratio}} on points left "
        f"out; {{least_r2:ratio}} is wanted): their mean, {{mean:{kind}}}, is taken; {_REACH}"
    )


_REACH = "ground more than {reach_m:distance} from any is unknown"


def _points(values: Mapping[str, Any]) -> str:
    if values["block_m"] is None:
        return "{points:count} points"
    return "the medians of {points:count} blocks of {block_m:width}"


FIELD: dict[str, Template] = {
    "no-areas-left-out": "{file:name} also holds {others:row}; left out, for they are no areas",
    "outline-repaired": _repaired,
    "shapes-outside": "{outside:count} of {shapes:count} shapes lie outside the field",
    "no-lines-or-polygons": "{unusable:count} of {shapes:count} shapes are neither lines nor "
    "polygons",
    "lines-as-wide": "lines are taken as {width_m:width} wide",
    "drawn-overlap": "{first:name} and {second} overlap on {area_ha:area}: {first} comes first, "
    "and wins",
    "headland-laid": _headland,
    "all-headland": _all_headland,
    "layers-disagree": "{area_ha:area}: {first} says {first_says}, {other} says {other_says}; the "
    "first is planned",
    "layer-supplies": "this layer says {properties:list} of {share:small share} of the field",
    "hairlines-closed": _hairlines,
    "survey-lines": _survey,
    "survey-vintage": _vintage,
    "survey-none-near": "none of its polygons lies about the field",
    "survey-without-horizons": "no horizons are told for {soils:row}: these have no data. Where "
    "that surprises, the table of horizons may be cut off; download the survey area again",
    "survey-map-left-out": "{map:name} is left out: {other} has all of {areas:row}",
    "survey-columns-missing": "its tables have no {columns:row}: what these would say is not known",
    "survey-without-kinds": "without compkind, ground that is no soil counts as ground without "
    "data",
    "survey-headings": _headings,
    "survey-unit-unknown": "the survey's map shows {unit}, but its tables do not have it",
    "component-share-unknown": "{component:name}: its share of {unit} is not known; left out",
    "components-scaled": "the components of {unit} add up to {total_pct:percent}; scaled to 100",
    "organic-cover-left-out": "{component:name}: {depth_m:length} of organic cover left out",
    "horizon-without-depth": "{component:name}: horizon {horizon} has no depth; left out",
    "horizon-upside-down": "{component:name}: horizon {horizon} runs from {top_m:length} up to "
    "{bottom_m:length}; left out",
    "horizon-missing": "{component:name}: no horizon from {top_m:length} to {bottom_m:length}",
    "horizons-overlap": "{component:name}: horizons overlap from {top_m:length} to "
    "{bottom_m:length}",
    "horizon-scaled": "{component:name}: sand, silt and clay of horizon {horizon} add up to "
    "{total_pct:percent}; scaled to 100",
    "texture-unit": _unit,
    "texture-scaled": "{parts:list} miss 100 % by up to {off_pct:one decimal}; scaled to 100",
    "texture-part-left": "{part} is not given: what {parts:list} leave of 100 % is taken",
    "texture-parts-left-out": "{parts:list} left out: only sand, silt and clay together say a "
    "texture",
    "texture-part-summed": "{part} is {columns:sum}, which make {total:count} with the others. "
    "Silt is taken to run from 0.002 to 0.05 mm: laboratories that part it so often end it at "
    "0.02 mm, and then this texture is too sandy",
    "polygons-scaled": "sand, silt and clay of {scaled:count} of {polygons:count} polygons miss "
    "100 % by up to {off_pct:one decimal}; scaled to 100",
    "polygons-without-texture": "{without:count} of {polygons:count} polygons say no texture",
    "rows-scaled": "sand, silt and clay of {scaled:count} of {rows:count} rows miss the whole by "
    "up to {off_pct:percent}; scaled to it",
    "cells-without-values": "{parts:list} have no value" + _CELLS,
    "cells-with-some-values": "some but not all of {parts:list} have a value" + _CELLS,
    "cells-all-zero": "{parts:list} are all 0" + _CELLS,
    "cells-off": "{parts:list} do not add up to 100 %" + _CELLS,
    "cells-without-organic": "{parts:list} is 0" + _CELLS,
    "organic-unit": _organic,
    "band-left-out": "{band:name} is left out: it does not say what it holds",
    "band-on-other-cells": "{part} has other cells than {first}: its areal mean over each of those "
    "is taken",
    "decimal-commas": "commas in numbers are read as decimal points",
    "places-read-in": "places are read in {system}",
    "points-without-value": _LEFT + "without a place or a value",
    "points-outside": _LEFT + "more than {margin_m:distance} outside the field",
    "points-negative": _LEFT + "with a conductivity below zero",
    "points-in-one-place": "{left:count} of {points:count} points lie where another does: the mean "
    "of each place is taken",
    "points-thinned": "of {points:count} points the medians of {blocks:count} blocks of "
    "{block_m:width} are taken",
    "points-outlying": _LEFT + "outliers, over {most_modified_z:ratio} scaled MAD from the median "
    "of the {neighbours:count} points about them (Iglewicz & Hoaglin 1993)",
    "samples-unlike": "{flagged:count} of {samples:count} samples differ from all their "
    "neighbours, at latitude and longitude {places:row}: a gross error, or a small spot of other "
    "ground. They are kept; look at the laboratory's sheet",
    "kriged": _kriged,
    "kriged-mean": _kriged_mean,
    "kriged-texture-scaled": "kriged apart, the three miss 100 % by up to {off_pct:one decimal}; "
    "scaled to 100",
    "organic-too-few": "organic matter left out: {points:count} points have it, {wanted:count} are "
    "wanted",
    "samples-instead": "so the samples say the soil by themselves, and {conductivity:name} draws "
    "nothing: it follows clay too little here; water and salts move it too",
    "conductivity-few-samples": "{samples:count} samples lie where conductivity is known, and "
    "{wanted:count} are wanted to fit a line by: it says no texture",
    "cells-negative": "conductivity is below zero" + _CELLS,
    "conductivity-column": "conductivity is read from {column}",
    "conductivity-set-aside": "conductivity is left aside: the samples say the soil",
    "conductivity-fit": "{part} changes by {slope_frac:change} a unit of conductivity, from "
    "{samples:count} samples: R² {r2:ratio}; {left_out_r2:ratio} on samples left out, off by "
    "{left_out_frac:tenths}",
    "conductivity-says-no-texture": "straight lines of clay and of sand were tried, each sample "
    "left out in turn, and it says no texture: we want clay to rise, and R² {least_r2:ratio} on "
    "samples left out",
    "conductivity-beyond-samples": "conductivity over {share:share} of the ground is outside the "
    "{low:figures} to {high:figures} at the samples: read as the nearer of the two",
    "sand-as-in-samples": "so sand is {share:share} of what clay leaves, as in the samples",
    "conductivity-draws-edges": "conductivity only draws edges, by thirds of the ground, at "
    "{low:figures} and {high:figures}",
    "conductivity-draws-no-edges": "conductivity draws no edges",
    "heights-reach": "{file:name}: heights reach {reach_m:distance} beyond the field on every "
    "side; water from further away is not counted",
    "heights-end-at-field": "{file:name}: heights end at the field's edge; water from outside is "
    "not counted",
    "heights-asked": _heights_asked,
    "height-unit-unknown": "{file:name} does not say the unit of its heights; taken as metres",
    "heights-in-steps": "{file:name} has heights in steps of {step_m:length}; slopes under "
    "{lost_slope_frac:tenths} are lost in them",
}
