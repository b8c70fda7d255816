"""placeholder"""

from __future__ import annotations

import streamlit as st


def page() -> None:
    """Draw the page."""
    st.title("What is known about this variety?")
