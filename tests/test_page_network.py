"""The page open to the network, in a real browser: a phone is asked for the code, checks and looks up."""

from __future__ import annotations

import http.client
import signal
import socket
from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np
import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect
from served import ADDRESS, Served, served
from test_page_browser import DESK, PHONE, SLOW_MS, browser, check_tray

from cutcheck.network import lan_address, listen

__all__ = ["browser"]  # the fixture that opens the page


@pytest.fixture(scope="module")
def page_served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """The page, open to this computer's own network."""
    folder = tmp_path_factory.mktemp("network")
    with served(folder, "--on-network", "--address", ADDRESS) as running:
        yield running


@pytest.fixture
def contexts(browser: Browser) -> Iterator[list[BrowserContext]]:
    """Browsers that were opened, to be closed."""
    opened: list[BrowserContext] = []
    yield opened
    for context in opened:
        context.close()


def visitor(browser: Browser, contexts: list[BrowserContext], size: tuple[int, int] = PHONE) -> Page:
    """A browser of its own, without cookies."""
    context = browser.new_context(
        viewport={"width": size[0], "height": size[1]}, has_touch=size is PHONE, device_scale_factor=2
    )
    context.set_default_timeout(SLOW_MS)
    contexts.append(context)
    return context.new_page()


def give_code(page: Page, code: str) -> None:
    """Type the code and press."""
    page.get_by_label("Eight digits").fill(code)
    page.get_by_role("button", name="Open").click()


def expect_inside(page: Page) -> None:
    """The page is there, to its last line."""
    expect(page.locator(".cc-caution")).to_be_visible(timeout=SLOW_MS)


def test_a_phone_with_the_code_checks_and_looks_up_and_sees_no_journal(
    browser: Browser, contexts: list[BrowserContext], page_served: Served, tray_photo: Path
) -> None:
    """Asked for the code; with it a tray is marked and a cut looked up; keeping, progress and settings are
    not there, a reload asks nothing again, and no request goes elsewhere."""
    page = visitor(browser, contexts)
    requests: list[str] = []
    page.on("request", lambda asked: requests.append(asked.url))
    page.goto(page_served.on_the_network)
    expect(page.get_by_role("heading", name="What is the code?")).to_be_visible()
    give_code(page, "00000000" if page_served.code != "0000 0000" else "11111111")
    expect(page.get_by_role("alert")).to_contain_text("4 tries are left")
    give_code(page, page_served.code)
    expect_inside(page)
    check_tray(page, tray_photo)
    expect(page.get_by_text("Trays are kept at the computer")).to_be_visible(timeout=SLOW_MS)
    expect(page.get_by_text("Keep this tray")).to_have_count(0)
    expect(page.get_by_text("Let a phone in")).to_have_count(0)
    expect(page.get_by_role("link", name="My progress")).to_have_count(0)
    page.get_by_role("link", name="Look up").click()
    page.get_by_role("button", name="Julienne").first.click()
    expect(page.get_by_role("heading", name="Julienne")).to_be_visible(timeout=SLOW_MS)
    page.goto(f"{page_served.on_the_network}/progress")
    expect_inside(page)
    expect(page.get_by_role("heading", name="My progress")).to_have_count(0)
    assert not page_served.journal.exists()
    assert [
        url for url in requests if not url.startswith((page_served.on_the_network, "data:", "blob:"))
    ] == []


def test_five_wrong_codes_make_a_phone_wait_and_scanning_still_lets_it_in(
    browser: Browser, contexts: list[BrowserContext], page_served: Served
) -> None:
    """After the fifth wrong code the form is gone, also in another window, and the right code is refused;
    at the computer itself the squares are shown, and what they say opens the page without typing."""
    page = visitor(browser, contexts)
    page.goto(page_served.on_the_network)
    wrong = "00000000" if page_served.code != "0000 0000" else "11111111"
    for _ in range(5):
        give_code(page, wrong)
    expect(page.get_by_role("alert")).to_contain_text("Too many wrong codes. Try again in")
    expect(page.get_by_label("Eight digits")).to_be_hidden()
    other = visitor(browser, contexts)
    other.goto(page_served.on_the_network)
    expect(other.get_by_role("alert")).to_contain_text("Try again in")
    refused = other.request.post(
        f"{page_served.on_the_network}/enter", form={"code": page_served.code}, max_redirects=0
    )
    assert refused.status == 429

    here = visitor(browser, contexts, DESK)
    here.goto(page_served.at_the_computer)
    expect_inside(here)
    assert "key" not in here.url
    expect(here.get_by_role("link", name="My progress")).to_be_visible()
    here.get_by_text("Let a phone in").click()
    expect(here.get_by_text(page_served.code)).to_be_visible()
    squares = here.locator("img.cc-squares")
    expect(squares).to_be_visible()
    here.wait_for_timeout(700)  # the box unfolds
    seen = cv2.imdecode(np.frombuffer(squares.screenshot(), np.uint8), cv2.IMREAD_COLOR)
    scanned = cv2.QRCodeDetector().detectAndDecode(seen)[0]  # another reader than the writer
    assert scanned.startswith(f"{page_served.on_the_network}/?key=")

    page.goto(scanned)
    expect_inside(page)
    assert page.url == f"{page_served.on_the_network}/"
    expect(page.get_by_role("link", name="My progress")).to_have_count(0)
    assert page_served.log.read_text(encoding="utf-8") == page_served.said  # no key is written down


def test_the_computers_address_is_no_good_elsewhere(
    browser: Browser, contexts: list[BrowserContext], page_served: Served
) -> None:
    """Passed on to a phone the computer's own key opens nothing; without it the computer is a visitor too."""
    key = page_served.at_the_computer.partition("?")[2]
    phone = visitor(browser, contexts)
    phone.goto(f"{page_served.on_the_network}/?{key}")
    expect(phone.get_by_role("heading", name="What is the code?")).to_be_visible()
    computer = visitor(browser, contexts)
    computer.goto(f"http://localhost:{page_served.port}")
    give_code(computer, page_served.code)
    expect_inside(computer)
    expect(computer.get_by_role("link", name="My progress")).to_have_count(0)


def test_claimed_addresses_count_for_nothing(page_served: Served) -> None:
    """Headers that relays write do not make a phone the computer, nor a stranger's name this page."""
    key = page_served.at_the_computer.partition("?key=")[2]

    def status(**headers: str) -> int:
        connection = http.client.HTTPConnection(ADDRESS, page_served.port, timeout=30)
        cookie = {"Cookie": f"cutcheck_key_{page_served.port}={key}", "Accept": "text/html"}
        connection.request("GET", "/", headers={**cookie, **headers})
        return connection.getresponse().status

    claims = {"X-Forwarded-For": "127.0.0.1", "X-Real-IP": "127.0.0.1", "Forwarded": "for=127.0.0.1"}
    asked = {401, 429}  # the question, or that one has to wait before it: other tests typed wrong codes
    assert status() in asked
    assert status(**claims) in asked
    assert status(**claims, Host=f"localhost:{page_served.port}") in asked
    assert status(Host="evil.example") == 403


def test_without_the_option_only_this_computer_connects(tmp_path: Path) -> None:
    """``cutcheck serve`` listens at 127.0.0.1 alone and asks for no code; another name is refused."""
    with served(tmp_path) as running:
        assert "give the code" not in running.said
        with socket.socket() as phone:
            phone.settimeout(5)
            assert phone.connect_ex((lan_address() or "127.0.0.2", running.port)) != 0
        connection = http.client.HTTPConnection("127.0.0.1", running.port, timeout=30)
        connection.request("GET", "/")
        assert b"streamlit" in connection.getresponse().read().lower()
        connection.request("GET", "/", headers={"Host": "evil.example"})
        assert connection.getresponse().status == 403


def test_ctrl_c_ends_it_without_a_word_too_many(tmp_path: Path) -> None:
    """Ctrl-C ends the page and says so in one line, with the status that shells use for it."""
    with served(tmp_path, "--on-network", "--address", ADDRESS) as running:
        running.process.send_signal(signal.SIGINT)
        assert running.process.wait(20) == 130
        assert running.log.read_text(encoding="utf-8").removeprefix(running.said).strip() == "Stopped."


def test_a_port_that_is_taken_is_told_or_passed_over() -> None:
    """A named port that is taken is an error with its remedy; without a name the next one is taken."""
    from cutcheck.errors import CutcheckError

    with listen("127.0.0.1", None) as first:
        port = first.getsockname()[1]
        with pytest.raises(CutcheckError, match="Name another with --port"):
            listen("127.0.0.1", port)
        with listen("127.0.0.1", None) as second:
            assert second.getsockname()[1] > port
