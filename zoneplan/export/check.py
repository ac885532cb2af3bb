"""Check a plan's folder, wherever it was copied to."""

from pathlib import Path

from zoneplan.errors import OutputError
from zoneplan.export.document import is_earlier, read_document
from zoneplan.export.manifest import MANIFEST, altered, read_manifest
from zoneplan.export.readback import differences, first_line, restored_plan
from zoneplan.plain_file import exists, read_plain

MOST_MANIFEST_MB, MOST_FILE_MB = 1.0, 200.0
LITTER = ("Thumbs.db", "desktop.ini")  # left by file managers, as are names with a dot before


def check_bundle(folder: Path) -> list[str]:
    """Find every fault of a plan's folder; an empty list if there is none.

    Files that are missing, altered and foreign are told apart. Whatever is there is read back
    by another reader than its writer, and compared with plan.json and the shapes in
    zones.geojson, zone by zone. A plan in an earlier form was compared when it was written, as
    was one without its zones' files: of those, the digests alone are looked at.
    """
    if (folder / MANIFEST).is_symlink():
        return [f"{MANIFEST} leads out of the folder, so nothing can be checked"]
    try:
        manifest = read_manifest(read_plain(folder / MANIFEST, MOST_MANIFEST_MB, OutputError))
    except (OutputError, ValueError, RecursionError) as error:
        return [f"{MANIFEST} cannot be read, so nothing can be checked: {first_line(error)}"]
    faults: list[str] = []
    files = {}
    if manifest.unfinished:
        faults.append(f"{MANIFEST} says that it is unfinished: the write of it was stopped")
    for name in manifest.digests:
        path = folder / name
        if not exists(path):
            faults.append(f"{name} is missing")
            continue
        if any(entry.is_symlink() for entry in {path, path.parent} - {folder}):
            faults.append(f"{name} cannot be read: it leads out of the folder")
            continue
        try:
            files[name] = read_plain(path, MOST_FILE_MB, OutputError)
        except OutputError as error:
            faults.append(first_line(error).replace(str(path), name, 1))
    foreign = [name for name in _names(folder) if name not in (MANIFEST, *manifest.digests)]
    faults += altered(manifest, files)
    faults += [f"{name} is foreign: {MANIFEST} does not list it" for name in foreign]
    try:
        if is_earlier(files["plan.json"]):  # its other files are not as we would write them
            return faults
        if "zones" not in manifest.options.files:
            read_document(files["plan.json"])
            return faults
        plan = restored_plan(files)
    except Exception as error:  # whatever a reader of damaged files raises
        why = f"{type(error).__name__}: {first_line(error)}"
        return [*faults, f"no zones were compared, for want of plan.json or zones.geojson: {why}"]
    return faults + differences(files, plan, manifest.options)


def _names(folder: Path) -> list[str]:
    """The files in a folder and under it, but for litter."""
    return sorted(
        path.relative_to(folder).as_posix()
        for path in folder.rglob("*")
        if path.is_file() and not _is_litter(path.relative_to(folder))
    )


def _is_litter(path: Path) -> bool:
    return path.name in LITTER or any(part.startswith(".") for part in path.parts)
