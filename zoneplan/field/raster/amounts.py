"""From sand, silt and clay as a raster holds them to the fractions of one soil.

Rasters seldom state their unit, and write 0 where nothing is known. What the amounts add
up to gives both away.
"""

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from zoneplan.errors import LayerError, listed
from zoneplan.field.columns import PARTS, WHOLE, WORTH_SAYING_PCT
from zoneplan.notices import Notice, notice
from zoneplan.soil.texture import MOST_OFF_PCT

ORGANIC_WHOLE = {**WHOLE, "dg/kg": 10_000.0}
ORGANIC_PER_CARBON = 1.724  # National Soil Survey Handbook 618.44
_Values = NDArray[np.float64]
_Where = NDArray[np.bool_]


def fractions(
    amounts: Mapping[str, _Values], shares: _Values, unit: str | None, source: str
) -> tuple[dict[str, _Values], list[Notice]]:
    """Turn amounts of sand, silt and clay into fractions that make 1 together. [0 to 1].

    Parameters
    ----------
    amounts : mapping
        At least two of the three, cell by cell; NaN where unknown.
    shares : array
        Share of the field in each cell; those without are not looked at. [0 to 1]
    unit : str, optional
        A key of WHOLE. Else what the amounts add up to says it.

    Raises
    ------
    LayerError
        When an amount is negative, nothing is known in the field, the unit is not clear, or
        most of the field does not hold the parts of one soil.

    Notes
    -----
    A cell is unknown, and NaN, where an amount is missing, where all are 0, and where they miss
    100 % by more than MOST_OFF_PCT. Where only two are given, the third is what they leave.
    """
    names = tuple(part for part in PARTS if part in amounts)
    inside = shares > 0
    _refuse_negative({name: amounts[name][inside] for name in names}, source)
    missing = np.isnan([amounts[name] for name in names])
    total: _Values = np.sum([amounts[name] for name in names], axis=0)
    known = inside & (total > 0)
    none, some = missing.all(axis=0), missing.any(axis=0)
    unknown = {
        "cells-without-values": (inside & none, "have no value"),
        "cells-with-some-values": (inside & some & ~none, "have values, but not all of them,"),
        "cells-all-zero": (inside & (total == 0), "are all 0"),
    }
    notes = [
        note
        for code, (cells, _) in unknown.items()
        for note in _unknown(code, cells, shares, names)
    ]
    if not known.any():
        why = [
            f"{_and(names)} {phrase} in {cells.sum():,} cells"
            for cells, phrase in unknown.values()
            if cells.any()
        ]
        raise LayerError(
            f"{source}: nothing is known of the field: {'; '.join(why)}.\n"
            "Nothing is filled in.\n"
            "Give the raster that has values under the field, or another soil layer."
        )

    unit = unit or _unit(names, float(np.median(total[known])), source)
    off_pct = 100 * total / WHOLE[unit] - 100
    if len(names) < len(PARTS):
        off_pct = np.maximum(off_pct, 0)  # they may well leave something
    off = known & (np.abs(off_pct) > MOST_OFF_PCT)
    if shares[off].sum() > shares[known].sum() / 2:
        raise _no_parts(amounts, off, shares, unit, source)
    known &= ~off
    notes += _unknown("cells-off", off, shares, names)
    if (most_off := float(np.abs(off_pct[known]).max())) > WORTH_SAYING_PCT:
        notes.append(notice("texture-scaled", parts=names, off_pct=most_off))
    notes.insert(0, notice("texture-unit", parts=names, unit=unit))

    parts = {name: np.where(known, amounts[name], np.nan) for name in names}
    for third in set(PARTS) - set(names):
        parts[third] = np.where(known, np.maximum(WHOLE[unit] - total, 0), np.nan)
        notes.insert(1, notice("texture-part-left", part=third, parts=names))
    whole = np.sum(list(parts.values()), axis=0)
    return {name: parts[name] / whole for name in PARTS}, notes


def organic_pct(
    values: _Values, shares: _Values, unit: str, *, carbon: bool, source: str
) -> tuple[_Values, list[Notice]]:
    """Turn amounts of organic matter, or of the carbon in it, into percent of organic matter.

    The unit is a key of ORGANIC_WHOLE. What is unknown or 0 comes out as NaN.

    Raises
    ------
    LayerError
        When a value in the field is negative, or more than all of the soil.

    Source
    ------
    National Soil Survey Handbook 618.44: organic matter is 1.724 times the carbon.
    """
    inside = shares > 0
    _refuse_negative({"organic matter": values[inside]}, source)
    percent = 100 * values / ORGANIC_WHOLE[unit] * (ORGANIC_PER_CARBON if carbon else 1)
    if (most := np.nanmax(percent[inside], initial=0)) > 100:
        raise LayerError(
            f"{source}: organic matter comes to {most:,.0f} % of the soil when read as {unit}.\n"
            "It cannot be more than the soil.\n"
            "Check which raster it is, and its unit."
        )
    empty = inside & (values == 0)
    notes = [
        notice("organic-unit", unit=unit, carbon=carbon),
        *_unknown("cells-without-organic", empty, shares, ("organic matter",)),
    ]
    return np.where(values == 0, np.nan, percent), notes


def _refuse_negative(amounts: Mapping[str, _Values], source: str) -> None:
    faults = [
        f"{name} is {values[values < 0].min():g} in {(values < 0).sum():,} cells of the field."
        for name, values in amounts.items()
        if (values < 0).any()
    ]
    if faults:
        raise LayerError(
            listed(source, faults)
            + "\nThat is no amount: a code for no data that the file does not declare, it may be."
            + "\nDeclare it as the no-data value of the file, and export the raster again."
        )


def _unit(names: Sequence[str], total: float, source: str) -> str:
    """Find the unit by what the amounts add up to in the middle of the field's cells."""
    if len(names) == len(PARTS):
        return min(WHOLE, key=lambda unit: abs(np.log(total / WHOLE[unit])))
    unit = next((unit for unit in WHOLE if total <= WHOLE[unit] * (1 + MOST_OFF_PCT / 100)), "g/kg")
    if unit == "percent" and "sand" not in names:
        raise LayerError(
            f"{source}: {_and(names)} add up to {total:g}, and sand is not given.\n"
            "That is percent of one soil or g/kg of a sandier one, and we won't guess.\n"
            "Say which, or give the sand too.",
            code="unit-unclear",
            parameter="raster_unit",
            example="percent",
        )
    return unit


def _no_parts(
    amounts: Mapping[str, _Values], off: _Where, shares: _Values, unit: str, source: str
) -> LayerError:
    one = int(np.flatnonzero(off)[0])
    parts = [f"{name} {amounts[name].flat[one]:g}" for name in PARTS if name in amounts]
    return LayerError(
        f"{source}: these are not the parts of one soil. Read as {unit}, they should make "
        f"{'' if len(parts) == len(PARTS) else 'at most '}{WHOLE[unit]:g} together.\n"
        f"In {_share(shares[off].sum())} of the field they do not; in one cell {_and(parts)}.\n"
        "Check which raster or band is which, that all are in one unit, and say which it is: "
        "percent, g/kg or fraction.",
        code="parts-off",
        parameter="raster_unit",
        example="percent",
    )


def _unknown(code: str, where: _Where, shares: _Values, parts: tuple[str, ...]) -> Iterator[Notice]:
    if where.any():
        share = float(shares[where].sum())
        yield notice(code, parts=parts, cells=int(where.sum()), share=share)


def _share(share: float) -> str:
    return f"{100 * share:.0f} %" if share >= 0.01 else "less than 1 %"


def _and(words: Sequence[str]) -> str:
    return " and ".join([", ".join(words[:-1]), words[-1]])
