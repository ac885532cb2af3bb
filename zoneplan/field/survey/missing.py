"""Say exactly which file is missing, when a soil survey has only its map or only its tables."""

from collections.abc import Sequence
from pathlib import Path

from zoneplan.errors import LayerError
from zoneplan.field.survey.answer import SHAPES, is_answer
from zoneplan.field.survey.columns import NEEDED
from zoneplan.field.survey.database import is_database

_BOTH = "The map says where a soil lies and the tables say what it is; we need both."


def without_map(name: str, tables: Path, symbols: Sequence[str]) -> LayerError:
    """Say which map is missing.

    Parameters
    ----------
    name : str
        What the user gave.
    tables : Path
        The folder, database or answer with the tables.
    symbols : sequence of str
        The survey areas that they are of, where they say.
    """
    stems = [f"soilmu_a_{symbol.lower()}" for symbol in symbols] or ["soilmu_a_*"]
    what = ", ".join(f"spatial/{stem}.shp" for stem in stems)
    advice = (
        f"Download {_area(symbols)} again, and give the folder or zip that holds spatial and "
        "tabular."
    )
    if is_answer(tables):
        advice = (
            f"It is in the download of {_area(symbols)}. Put {stems[0]}.shp, .shx, .dbf and .prj "
            "into one folder with the answer, and give that folder; or ask the service for the "
            f"column {SHAPES[0]} as well."
        )
    elif is_database(tables):
        what = "the layer MUPOLYGON"
        advice = "Download it again, and keep its layers as they come."
    return LayerError(
        f"{name} has tables but no map. {what}, the polygons of the map units, is missing.\n"
        f"{_BOTH}\n{advice}"
    )


def without_tables(name: str, maps: Sequence[Path], symbols: Sequence[str]) -> LayerError:
    """Say which tables are missing.

    Parameters
    ----------
    name : str
        What the user gave.
    maps : sequence of Path
        The files with its map.
    symbols : sequence of str
        The survey areas that it is of, where it says.
    """
    what = (
        f"The folder tabular of {_area(symbols)}, with mapunit.txt, comp.txt, chorizon.txt, "
        "mstab.txt and mstabcol.txt, is missing"
    )
    if any(map(is_database, maps)):
        what = f"The tables {', '.join(NEEDED)} are missing from it"
    return LayerError(
        f"{name} has a map, {', '.join(part.name for part in maps)}, but no tables. {what}.\n"
        f"{_BOTH}\n"
        f"Download {_area(symbols)} again, and give all of it. If its polygons say a texture "
        "themselves, save them under a name of your own."
    )


def _area(symbols: Sequence[str]) -> str:
    if len(symbols) != 1:
        return "the survey area"
    return f"survey area {symbols[0]} (wss_SSA_{symbols[0]}_*.zip)"
