"""The page registry: which pages there are and in which order. A new page is one line here."""

from __future__ import annotations

from recommender.pages import about, atlas, catalog, choose, desk, frame, plan, swap

frame.show(
    [
        frame.Entry(choose.page, "Choose", "What will do well here?", "choose"),
        frame.Entry(plan.page, "Plan", "What shall I plant together?", "plan"),
        frame.Entry(desk.page, "Offer", "What can I offer instead?", "offer"),
        frame.Entry(swap.page, "Swap", "Who gets which plant?", "swap"),
        frame.Entry(atlas.page, "Atlas", "Where does it grow?", "atlas"),
        frame.Entry(catalog.page, "Catalog", "What is known about this variety?", "catalog"),
        frame.Entry(about.page, "About", "About Orchardwright", "about"),
    ]
)
