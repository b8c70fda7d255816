"""The page "About": how the ranking is made, what it was built from, what to mind, and the licences."""

from __future__ import annotations

import streamlit as st

from recommender.glossary import TERMS
from recommender.pages import cards, shared
from recommender.wording import MARKS, STANDING_MEANINGS, VERDICT_MEANINGS

_METHOD = (
    "Every statement about a variety in the data is kept with its source. Where sources differ, papers and"
    " official registers weigh more than catalogues, and the disagreement is shown.",
    "The climate of your place is worked out on this machine from open weather data: winter cold, winter"
    " chill, and the time between the frosts, each as a spread over thirty winters, not one figure.",
    "Each variety is then held against the site: does it live through the winter, does it get its chill,"
    " does its fruit ripen in time, will its flowers find pollen, does it fit the room and your wishes."
    " One failure that decides by itself rules it out, however good the rest.",
    "What nobody has published neither helps nor sinks a variety; the list says so.",
)
_MIND = (
    "The list narrows the choice; it does not replace a look over the hedge. A grower near you, or your"
    " extension or advisory service, knows your ground.",
    "Fruit, plants and budwood may be under quarantine or propagation law. Ask your plant-health authority"
    " before you move, graft or import anything.",
    "A full pot or tub is heavy: ask who built the balcony or roof what it bears. Before digging deep, ask"
    " where cables and pipes run.",
    "Some seeds, leaves and unripe fruit are not fit to eat, for people or for pets. Be sure what you eat.",
)


def page() -> None:
    """Draw the page."""
    st.title("About Orchardwright")
    st.html(
        '<p class="ow-lead">Fruit and nut varieties, ranked for a site, with what each verdict rests on.'
        " Nothing you enter leaves this machine; no account, no counting of visits.</p>"
    )
    st.header("How the ranking is made")
    st.html(cards.paragraphs(_METHOD))
    st.header("The four verdicts")
    st.html(cards.meanings({f"{MARKS[word]} {word}": said for word, said in VERDICT_MEANINGS.items()}))
    st.header("How sure a value is")
    st.html(cards.meanings(STANDING_MEANINGS))
    st.header("What to mind")
    st.html(cards.paragraphs(_MIND))
    st.header("What it was built from")
    with shared.told_plainly():
        st.html(cards.build_table(shared.catalog().info))
    st.header("Words")
    st.html(
        cards.meanings(
            {
                f"{term.plain} ({term.trade})": " ".join(
                    [term.meaning, *([f"Source: {term.source}."] if term.source else [])]
                )
                for term in sorted(TERMS)
            }
        )
    )
    st.header("Licences")
    st.html(
        cards.paragraphs(
            (
                "Code: Apache License 2.0. The compilation of facts: Creative Commons Attribution 4.0; each"
                " fact names its source.",
                "Place names: GeoNames, Creative Commons Attribution 4.0. Climate: ERA5, generated using"
                " Copernicus Climate Change Service information; neither the European Commission nor ECMWF is"
                " responsible for any"
                " use of it.",
            )
        )
    )
