"""What leaves: the sheets as they will be printed, every file, and the work itself."""

import streamlit as st

from zoneplan.pages.ask import WORDS
from zoneplan.pages.overview import fault
from zoneplan.pages.state import asked, made
from zoneplan.work.answer import EVERYTHING

FILES = {  # a label, and what a browser calls the file
    "summary.pdf": ("Printed summary", "application/pdf"),
    "cab.pdf": ("Cab sheet", "application/pdf"),
    "agronomist.pdf": ("Agronomist's sheet", "application/pdf"),
    "field.html": ("Landowner's page", "text/html"),
    "zones.zip": ("Shapefile", "application/zip"),
    "zones.geojson": ("GeoJSON", "application/geo+json"),
    "zones.gpkg": ("GeoPackage", "application/geopackage+sqlite3"),
    "zones.csv": ("Table", "text/csv"),
    "plan.json": ("Plan as JSON", "application/json"),
    EVERYTHING: ("All of it, and a task set for the cab", "application/zip"),
}


def page() -> None:
    """Show the page."""
    question = asked()
    if question is None:
        return
    files = made(question)
    with st.container(horizontal=True, key="files"):
        for name, (label, kind) in FILES.items():
            st.download_button(
                label,
                files.files[name],
                name,
                kind,
                key=f"take-{name}",
                on_click="ignore",
                type="primary" if name == "summary.pdf" else "secondary",
            )
    if files.missing:
        st.html(fault(files.missing, WORDS))


if __name__ == "__main__":
    page()
