"""The app. Run with: streamlit run app.py."""

import streamlit as st

from zoneplan.pages.door import door
from zoneplan.pages.frame import frame

if __name__ == "__main__":  # a page is asked for
    frame()
else:  # the server starts
    app = st.App(__file__, **door())
