"""What a visitor may do inside the page, by Streamlit's test client: at the computer, from the network."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace

import pytest
from streamlit.runtime.context import ContextProxy, StreamlitCookies
from streamlit.testing.v1 import AppTest
from test_page import html_of, open_page, place, upload

from cutcheck.access import Access, Keys, guard_with
from cutcheck.errors import CutcheckError
from cutcheck.journal import Journal
from cutcheck.page import gate
from cutcheck.page.gate import Opening
from cutcheck.settings import Settings, save_settings, settings_path

KEYS = Keys(code="12345678", network="network-key", here="here-key")
OPENING = Opening(
    Access(KEYS), "http://192.168.1.20:8501", "http://192.168.1.20:8501/?key=network-key", "cutcheck_key_8501"
)


@pytest.fixture(autouse=True)
def shut_again() -> Iterator[None]:
    """Each test leaves the page as it was: for this computer only."""
    yield
    gate.open_to_network(None)
    guard_with(None)


def visit(monkeypatch: pytest.MonkeyPatch, key: str | None, peer: str | None) -> None:
    """Open the page to the network and come with a key from an address, None for this computer's own."""
    gate.open_to_network(OPENING)
    cookies = StreamlitCookies({} if key is None else {OPENING.cookie: key})
    monkeypatch.setattr(ContextProxy, "cookies", property(lambda _: cookies))
    monkeypatch.setattr(ContextProxy, "ip_address", property(lambda _: peer))


def kept(own_journal: Path) -> None:
    """A journal with a cook in it."""
    Journal.open(own_journal).add_cook("Ada Example")


def links(page: AppTest) -> list[str]:
    """The names of the places that the page leads to."""
    return [link.proto.label for link in page.get("page_link")]


def offered(page: AppTest) -> list[str]:
    """All that can be chosen from lists."""
    return [name for box in page.selectbox for name in box.options]


@pytest.mark.parametrize(
    ("key", "peer"),
    [("network-key", "192.168.1.77"), ("network-key", None), ("here-key", "192.168.1.77"), (None, None)],
    ids=["a phone", "behind a relay", "the computer's key elsewhere", "gone"],
)
def test_a_visitor_from_the_network_reaches_no_journal(
    monkeypatch: pytest.MonkeyPatch, own_journal: Path, tray_photo: Path, key: str | None, peer: str | None
) -> None:
    """Whoever is not surely at the computer checks a tray but finds no way to keep it, no progress, no
    ruler's figures and no invitation; a place that is reached all the same opens no journal."""
    kept(own_journal)
    visit(monkeypatch, key, peer)
    page = upload(open_page(), "tray.jpg", tray_photo.read_bytes())
    assert "12 pieces" in html_of(page)
    assert "Trays are kept at the computer" in html_of(page)
    assert not [button for button in page.button if button.label == "Keep"]
    assert not [box for box in page.expander if box.label == "Let a phone in"]
    assert links(page)
    assert "My progress" not in links(page)
    with pytest.raises(CutcheckError, match="stay with the computer"):
        gate._only_here("Journals and classes")
    progress = place("my_progress")
    assert "Journals and classes stay with the computer itself." in html_of(progress)
    assert not any("Ada Example" in name for name in offered(progress))
    assert not [button for button in place("print_card").button if "Keep these" in button.label]


def test_at_the_computer_everything_is_there(
    monkeypatch: pytest.MonkeyPatch, own_journal: Path, tray_photo: Path
) -> None:
    """With its key and no network between, trays can be kept, and the code and the address are shown."""
    kept(own_journal)
    visit(monkeypatch, "here-key", None)
    page = upload(open_page(), "tray.jpg", tray_photo.read_bytes())
    assert [button for button in page.button if button.label == "Keep"]
    box = next(box for box in page.expander if box.label == "Let a phone in")
    assert "My progress" in links(page)
    said = " ".join(text.value for text in box.markdown)
    assert "1234 5678" in said
    assert "http://192.168.1.20:8501" in said
    assert "Journals, classes and settings stay with this computer" in said
    assert any("Ada Example" in name for name in offered(place("my_progress")))


def test_the_guard_holds_wherever_the_page_reaches_a_journal(
    monkeypatch: pytest.MonkeyPatch, own_journal: Path
) -> None:
    """Once the page was drawn, a network visitor's own code path opens no journal and saves no setting, not
    even with a journal that was opened at the computer; outside any visit nothing is opened either."""
    kept(own_journal)
    journal = Journal.open(own_journal)
    visit(monkeypatch, "network-key", "192.168.1.77")
    open_page()
    for reach in (journal.cooks, lambda: Journal.open(own_journal), lambda: save_settings(Settings())):
        with pytest.raises(CutcheckError) as caught:
            reach()
        assert caught.value.code == "not-here"
    assert not settings_path().exists()
    visit(monkeypatch, "here-key", None)
    assert [cook.name for cook in journal.cooks()] == ["Ada Example"]


def test_a_page_opened_to_the_network_without_a_code_stays_shut(monkeypatch: pytest.MonkeyPatch) -> None:
    """Started by hand for the whole network, the page shows nothing but how to start it well."""
    served_to = SimpleNamespace(value="0.0.0.0")
    monkeypatch.setattr(gate.st, "get_option", lambda name: served_to.value)
    page = open_page()
    assert "cutcheck serve --on-network" in html_of(page)
    assert len(page.title) == 0
    assert len(page.file_uploader) == 0
    with pytest.raises(CutcheckError, match="stay with the computer"):
        Journal.open()
    for here in gate.HERE_NAMES:
        served_to.value = here
        assert open_page().title[0].value == "Check a tray"
