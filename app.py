"""Names the pages and the look they share. Run with: streamlit run app.py."""

from pathlib import Path

import streamlit as st

PAGES = Path(__file__).parent / "zoneplan" / "pages"

st.set_page_config("zoneplan", PAGES / "icon.svg", "wide", initial_sidebar_state=264)
st.logo(PAGES / "mark.svg", size="large")
st.html(PAGES / "style.css")
st.navigation([st.Page(PAGES / "plan.py", title="Plan a field", default=True)]).run()
