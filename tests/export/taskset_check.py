"""Whether a task set holds together: every form that the standard has for what we write."""

from collections import Counter

from tests.export.taskset_forms import kinds, misfits
from zoneplan.errors import OutputError
from zoneplan.export.readers import bin_file, corners, grid_of, polygon_of, xml_root
from zoneplan.export.taskset import ROOT, XML_FILE

_TYPE_OF_POLYGON = {"PFD": "1", "TZN": "2"}  # boundary, treatment zone
_STANDS_FOR = {"H": "the default", "I": "a lost position", "J": "ground outside"}


def check_taskset(files, fields=1):
    """Find the faults of a task set's files, given by their names; an empty list if none.

    It is to hold so many fields, and a task for each.

    Elements and attributes come first. Where all are as they should be, references, rings,
    codes and the grid are looked at too.
    """
    try:
        root = xml_root(files)
    except OutputError as fault:
        return [str(fault)]
    if root.tag != ROOT:
        return [f"{XML_FILE} begins with {root.tag}, not with {ROOT}"]
    faults = misfits(root)
    for tag in ("PFD", "TSK"):
        if len(root.findall(tag)) != fields:
            count = "one" if fields == 1 else fields
            faults.append(f"{ROOT} holds {len(root.findall(tag))} {tag}, not {count}")
    if faults:
        return faults
    tasks = root.findall("TSK")
    grids = {bin_file(grid) for task in tasks for grid in task.findall("GRD")}
    strays = files.keys() - {XML_FILE} - grids
    return [
        *_loose_references(root),
        *(fault for holder in root.iter() for fault in _odd_polygons(holder, root)),
        *(fault for task in tasks for fault in _odd_zones(task)),
        *(f"{name} is a file that belongs to nothing" for name in sorted(strays)),
        *(fault for task in tasks for fault in _odd_cover(task, files)),
    ]


def _loose_references(root):
    known, ids = kinds(root), Counter(element.attrib["A"] for element in root)
    yield from (f"the id {name} is there {count} times" for name, count in ids.items() if count > 1)
    for element in root.iter():
        for name, form in known[element.tag].forms.items():
            if form.refers and element.get(name) not in (None, *ids):
                yield f"{element.tag}: {name} names {element.get(name)}, which is not there"


def _odd_polygons(holder, root):
    closed = root.get("VersionMajor") == "4"
    if holder.tag == "PFD" and holder.find("PLN") is None:
        yield f"{_named(holder)} has no boundary"
    for number, polygon in enumerate(holder.findall("PLN"), 1):
        where, rings = f"{_named(holder)}, PLN {number}", polygon.findall("LSG")
        if polygon.attrib["A"] != _TYPE_OF_POLYGON[holder.tag]:
            yield f"{where} is of type {polygon.attrib['A']}, not {_TYPE_OF_POLYGON[holder.tag]}"
        lines = sorted(ring.attrib["A"] for ring in rings)
        if lines[:1] != ["1"] or set(lines[1:]) - {"2"}:
            yield f"{where} is not one exterior line (type 1) with interior ones (type 2)"
            continue
        values = [corners(ring) for ring in rings]
        if any(len(set(ring)) < 3 for ring in values):
            yield f"{where} has a ring of fewer than three corners"
        elif closed and any(ring[0] != ring[-1] for ring in values):
            yield f"{where} has an open ring: in version 4 the first corner comes again"
        elif not polygon_of(polygon).is_valid:
            yield f"{where} crosses itself, or has a hole that is not inside"


def _odd_zones(task):
    """Codes that are twice there or not at all, and values that are twice there."""
    zones = Counter(int(zone.attrib["A"]) for zone in task.findall("TZN"))
    yield from (f"zone {code} is there {count} times" for code, count in zones.items() if count > 1)
    for name, meaning in _STANDS_FOR.items():
        if int(task.attrib[name]) not in zones:
            yield f"zone {task.attrib[name]}, which stands for {meaning}, is not there"
    for zone in task.findall("TZN"):
        if len(zone.findall("PDV")) > 1:
            yield f"zone {zone.get('A')} has {len(zone.findall('PDV'))} values, not one"


def _odd_cover(task, files):
    """Zones without ground, and ground without a zone."""
    zones = {int(zone.attrib["A"]) for zone in task.findall("TZN")}
    covered = {int(zone.attrib["A"]) for zone in task.findall("TZN") if zone.findall("PLN")}
    grids = task.findall("GRD")
    if len(grids) + bool(covered) > 1:
        yield "the zones are told more than once: let them be polygons, or one grid"
        return
    for grid in grids:
        faults = list(_odd_grid(grid, files))
        yield from faults
        if faults:
            return
        covered = set(grid_of(grid, files).codes.ravel().tolist())
    yield from (f"the grid names zone {code}, which is not there" for code in covered - zones)
    elsewhere = {int(task.attrib[name]) for name in _STANDS_FOR}
    yield from (f"zone {code} covers no ground" for code in zones - covered - elsewhere)


def _odd_grid(grid, files):
    rows, columns = int(grid.attrib["F"]), int(grid.attrib["E"])
    name, stated = bin_file(grid), int(grid.attrib["H"])
    if name not in files:
        yield f"{name} is missing"
        return
    size = len(files[name])
    if size != rows * columns:
        yield f"{name} has {size} bytes, not one for each of {rows} x {columns} cells"
    if size != stated:
        yield f"{name} has {size} bytes, not {stated} as its GRD says"


def _named(element):
    return f"{element.tag} {element.get('A')}"
