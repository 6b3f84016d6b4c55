"""The journal on the page in a real browser: a new cook types a name, keeps the tray and finds it again."""

from __future__ import annotations

from pathlib import Path

from playwright.sync_api import Browser, expect
from test_page_browser import DESK, PHONE, SLOW_MS, address, browser, check_tray

__all__ = ["address", "browser"]  # the fixtures that serve the page and open it


def test_a_new_cook_keeps_a_tray_and_finds_it_in_the_progress(
    browser: Browser,
    address: str,
    tray_photo: Path,
) -> None:
    """At phone size a name is typed and the tray kept; at desk size 'My progress' shows it, too few yet."""
    context = browser.new_context(viewport={"width": PHONE[0], "height": PHONE[1]}, has_touch=True)
    context.set_default_timeout(SLOW_MS)
    page = context.new_page()
    page.goto(address)
    check_tray(page, tray_photo)
    page.get_by_role("combobox", name="Keep this tray").click()
    page.keyboard.type("Cleo Example")
    page.keyboard.press("Enter")
    page.get_by_role("button", name="Keep", exact=True).click()
    expect(page.get_by_text("Kept as check 1 of Cleo Example#1: Medium dice.")).to_be_visible(timeout=SLOW_MS)
    context.close()
    context = browser.new_context(viewport={"width": DESK[0], "height": DESK[1]})
    context.set_default_timeout(SLOW_MS)
    page = context.new_page()
    page.goto(f"{address}/progress")
    expect(page.get_by_text("Too few yet to tell a trend from luck: 1 tray")).to_be_visible(timeout=SLOW_MS)
    expect(page.locator("[data-testid=stVegaLiteChart]").first).to_be_visible()
    # nothing reaches over the page's side
    wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert wide <= 0
    context.close()
