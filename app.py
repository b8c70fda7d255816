"""The page registry: which pages there are, in which order, and the clothes they share."""

from __future__ import annotations

import streamlit as st

from recommender.pages import about, atlas, choose, desk, plan, shared, swap

st.set_page_config(page_title="Orchardwright", layout="wide", initial_sidebar_state="collapsed")
shared.dress()
st.navigation(
    [
        st.Page(choose.page, title="What will do well here?", url_path="choose", default=True),
        st.Page(plan.page, title="What shall I plant together?", url_path="plan"),
        st.Page(desk.page, title="What can I offer instead?", url_path="offer"),
        st.Page(swap.page, title="Who gets which plant?", url_path="swap"),
        st.Page(atlas.page, title="Where does it grow?", url_path="atlas"),
        st.Page(about.page, title="About", url_path="about"),
    ],
    position="top",
).run()
