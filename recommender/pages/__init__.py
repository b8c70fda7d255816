"""6 Streamlit pages, one per errand; no computation here."""
