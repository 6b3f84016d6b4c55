"""Every place of the page as axe-core judges it (WCAG 2.2 A and AA among its rules), in light and in dark.

axe-core comes with the package ``axe-playwright-python``; nothing is fetched.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect
from test_page_browser import DESK, LOCAL, PHONE, SLOW_MS, address, browser, tour

__all__ = ["address", "browser"]  # the fixtures that serve and open the page

# Widgets of the framework's own for which no way round was found: (rule, part of the element's HTML).
FRAMEWORK: tuple[tuple[str, str], ...] = ()


def serious(page: Page) -> list[str]:
    """What axe-core finds serious or critical: the rule, the element and why."""
    found = []
    for violation in Axe().run(page).response["violations"]:
        if violation["impact"] not in ("serious", "critical"):
            continue
        for node in violation["nodes"]:
            known = any(rule == violation["id"] and part in node["html"] for rule, part in FRAMEWORK)
            if not known:
                found.append(f"{violation['id']}: {node['html'][:200]} {node['failureSummary'][:200]}")
    return found


@pytest.mark.parametrize(
    ("scheme", "size"), [("light", PHONE), ("dark", DESK)], ids=["light-phone", "dark-desk"]
)
def test_no_place_has_a_serious_fault(
    browser: Browser, address: str, tray_photo: Path, tmp_path: Path, scheme: str, size: tuple[int, int]
) -> None:
    """Every place, empty and with a marked tray, has no serious or critical fault in either colour scheme."""
    width, height = size
    context = browser.new_context(
        viewport={"width": width, "height": height},
        color_scheme="dark" if scheme == "dark" else "light",
    )
    context.set_default_timeout(SLOW_MS)
    context.route(lambda url: not LOCAL.match(url), lambda route: route.abort())
    page = context.new_page()
    faults = {}
    page.goto(address)
    for place in tour(page):
        if place == "My progress":
            page.get_by_text("Show the term of an invented cook").click()
            expect(page.get_by_text("Details")).to_be_visible(timeout=SLOW_MS)
        faults[place] = serious(page)
    page.get_by_role("link", name="Check a tray").click()
    page.locator("input[type=file]").first.set_input_files(tray_photo)
    expect(page.get_by_role("button", name="Everything (JSON)")).to_be_visible(timeout=SLOW_MS)
    page.get_by_role("combobox", name="Which cut").click()
    page.keyboard.type("Medium dice")
    page.get_by_role("option", name="Medium dice").first.click()
    expect(page.locator(".cc-figure")).to_be_visible(timeout=SLOW_MS)
    page.wait_for_timeout(600)
    faults["marked"] = serious(page)
    letter = tmp_path / "letter.jpg"
    letter.write_text("Dear cook")
    page.locator("input[type=file]").first.set_input_files(letter)
    expect(page.locator(".cc-fault")).to_be_visible(timeout=SLOW_MS)
    faults["bad photo"] = serious(page)
    context.close()
    assert {place: found for place, found in faults.items() if found} == {}
