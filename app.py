"""The app. Run with: streamlit run app.py."""

from zoneplan.pages.frame import frame

frame()
