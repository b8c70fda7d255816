"""What the browser tests ask of every page: it has settled, nothing scrolls sideways, controls are large
enough, axe-core finds no serious fault; and pictures of it are kept.

In comes a Playwright page; out go lists of faults, so that a failing test prints them.
"""

from __future__ import annotations

from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from playwright.sync_api import Locator, Page

ROOT = Path(__file__).parents[2]
OUTPUT = ROOT / "tests" / "output"
# Ends a wait for what never comes. A first list takes ten seconds of a core, and ten may share a core.
PATIENCE_MS = 180_000
SMALLEST_CONTROL_PX = 44  # WCAG 2.2, 2.5.5 (enhanced); 2.5.8 asks for 24
PHONE_PX = 600
_STILL_MS = 100
_ANSWER_MS = 4_000
# Whole WCAG 2.0 to 2.2 at A and AA, and axe-core's own good practice.
_RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
_CONTROLS = (
    "[data-testid=stTextInputRootElement], [data-testid=stNumberInputContainer], "
    ".react-aria-ComboBox > [role=group], .stButton button, .stDownloadButton button, "
    ".stFormSubmitButton button, .stPopover button, .stFileUploader section button, "
    ".stButtonGroup button, .stExpander summary, [data-testid=stRadioOption], .stMain .stPageLink a"
)


# Run in every page before its own scripts: when a message last went to the server, and when a run last began.
WATCH = """
    window.owAsked = window.owBegan = 0;
    const send = WebSocket.prototype.send;
    WebSocket.prototype.send = function (...message) {
        window.owAsked = performance.now();
        return send.apply(this, message);
    };
    new MutationObserver(() => {
        const app = document.querySelector('.stApp');
        const state = app && app.dataset.testScriptState;
        if (state === 'running' && window.owState !== 'running') window.owBegan = performance.now();
        window.owState = state;
    }).observe(document, {subtree: true, attributes: true, attributeFilter: ['data-test-script-state']});
"""

# Of a page that does not settle: what its run says, when it was asked for and began, what is out of date.
_STATE = """() => ({
    script: document.querySelector('.stApp')?.dataset.testScriptState,
    connection: document.querySelector('.stApp')?.dataset.testConnectionState,
    asked: window.owAsked, began: window.owBegan, now: performance.now(),
    stale: [...document.querySelectorAll('[data-stale=true], [data-testid=stSkeleton]')]
        .map(e => (e.innerText || e.outerHTML).slice(0, 120)).slice(0, 5),
})"""


def settled(page: Page) -> None:
    """Wait until the page has run to its end and stands still.

    A click is answered by a run that begins a while after it, later still on a busy machine. So what was last
    sent to the server must have been answered, though not every message asks for a run; and the page must
    have stood still for a little while. Fails with what it waited for.
    """
    from playwright.sync_api import TimeoutError as OutOfPatience

    try:
        page.wait_for_function(
            """([still, patience]) => {
                const app = document.querySelector('.stApp');
                const now = performance.now();
                const waits = window.owAsked > window.owBegan && now - window.owAsked < patience;
                const runs = waits || !app || app.dataset.testScriptState !== 'notRunning'
                    || document.querySelector('[data-stale=true], [data-testid=stSkeleton]');
                if (runs || !window.owStillSince) window.owStillSince = runs ? 0 : now;
                return window.owStillSince && now - window.owStillSince >= still
                    && !(window.owStillSince = 0);
            }""",
            arg=[_STILL_MS, _ANSWER_MS],
        )
    except OutOfPatience:
        pytest.fail(f"{page.url} did not settle: {page.evaluate(_STATE)}; see {OUTPUT / 'app.log'}")


def sized(page: Page, width: int, height: int = 900) -> None:
    """Give the window another size and wait until the page has taken it: a list that is open would close."""
    page.set_viewport_size({"width": width, "height": height})
    page.wait_for_function("([w, h]) => innerWidth === w && innerHeight === h", arg=[width, height])
    _drawn(page)
    settled(page)


def _drawn(page: Page) -> None:
    """Wait for two frames: what a resize or a scroll sets off has then happened."""
    page.evaluate("() => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))")


def pick(page: Page, control: Locator, option: str | None = None) -> None:
    """Open a list of choices and take the option of this name, or else the first.

    The list closes when the page scrolls; so the scrolling is done, and told of, before it is opened.
    """
    settled(page)
    control.scroll_into_view_if_needed()
    _drawn(page)
    control.click()
    options = (
        page.get_by_role("option") if option is None else page.get_by_role("option", name=option, exact=True)
    )
    options.first.click()
    settled(page)


def visit(page: Page, url: str) -> None:
    """Open an address and wait until its page has settled."""
    page.goto(url)
    page.wait_for_selector(".stMainBlockContainer h1")
    settled(page)


def is_phone(page: Page) -> bool:
    """Whether the page is shown at a phone's width."""
    return (page.viewport_size or {"width": 0})["width"] < PHONE_PX


def keep(page: Page, name: str, *, whole: bool = False) -> None:
    """Keep a picture as tests/output/<name>-<width>.png; whole: from head to foot of the page."""
    OUTPUT.mkdir(parents=True, exist_ok=True)
    size = page.viewport_size or {"width": 0, "height": 900}
    if whole:
        # Streamlit scrolls an inner box, so the window itself is made as tall as what is in it.
        tall = page.locator("[data-testid=stMain]").evaluate("e => e.scrollHeight")
        sized(page, size["width"], min(int(tall) + 80, 12_000))
    page.screenshot(path=OUTPUT / f"{name}-{size['width']}.png")
    if whole:
        sized(page, size["width"], size["height"])


def sideways(page: Page) -> list[str]:
    """What makes the page scroll sideways; tables may scroll within themselves."""
    wide, shown = page.locator("[data-testid=stMain]").evaluate("e => [e.scrollWidth, e.clientWidth]")
    if wide <= shown:
        return []
    found: list[str] = page.locator("[data-testid=stMain] *").evaluate_all(
        "(all, limit) => all.filter(e => e.getBoundingClientRect().right > limit + 1)"
        ".map(e => e.outerHTML.slice(0, 120)).slice(0, 5)",
        shown,
    )
    return [f"{wide} px wide on {shown} px", *found]


def small_controls(page: Page) -> list[str]:
    """Controls lower than a finger needs."""
    found: list[str] = page.locator(_CONTROLS).evaluate_all(
        "(all, least) => all.filter(e => e.offsetParent && e.getBoundingClientRect().height < least - 0.5)"
        ".map(e => `${Math.round(e.getBoundingClientRect().height)} px: ${e.innerText || e.outerHTML}`"
        ".slice(0, 120))",
        SMALLEST_CONTROL_PX,
    )
    return found


def axe_findings(page: Page, impacts: tuple[str, ...] = ("serious", "critical")) -> list[str]:
    """What axe-core finds on the page as it stands, one line each: rule, impact, where, what to mend.

    Source of the rules: axe-core (MPL-2.0), shipped by the package axe-playwright-python.
    """
    script = resources.files("axe_playwright_python").joinpath("axe.min.js").read_text(encoding="utf-8")
    options: dict[str, Any] = {"resultTypes": ["violations"], "runOnly": {"type": "tag", "values": _RULES}}
    page.evaluate(script)
    found = page.evaluate("options => axe.run(document, options)", options)["violations"]
    return [
        f"{finding['id']} ({finding['impact']}): {' '.join(map(str, node['target']))}: "
        f"{node['html'][:160]} {' '.join(node['failureSummary'].split())[:300]}"
        for finding in found
        if finding["impact"] in impacts
        for node in finding["nodes"]
    ]


def assert_fit(page: Page) -> None:
    """Everything above at once: nothing sideways, controls large enough, axe-core content."""
    settled(page)
    faults = [*sideways(page), *small_controls(page), *axe_findings(page)]
    assert not faults, "\n".join(faults)
