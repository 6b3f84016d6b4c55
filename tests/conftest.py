"""What tests share: settings of their own, and one photographed tray with known truth."""

from __future__ import annotations

from pathlib import Path

import light_scene
import pytest


@pytest.fixture(autouse=True)
def own_settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Settings in a folder of the test's own, so that no test reads or changes the user's."""
    path = tmp_path / "settings" / "settings.toml"
    monkeypatch.setenv("CUTCHECK_SETTINGS", str(path))
    return path


@pytest.fixture(autouse=True)
def own_journal(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A journal in a folder of the test's own, so that no test reads or changes the user's."""
    path = tmp_path / "own-journal" / "journal.sqlite"
    monkeypatch.setenv("CUTCHECK_JOURNAL", str(path))
    return path


@pytest.fixture(scope="session")
def tray_photo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A photo of 12 dice of 12.7 mm beside card 3, drawn from geometry; its truth is beside it as JSON."""
    path = tmp_path_factory.mktemp("tray") / "tray.jpg"
    dice = ({"shape": "box", "mm": (12.7, 12.7, 12.7), "count": 12},)
    photo, truth = light_scene.scene(
        11, size=(1600, 1200), pieces=dice, cut="medium-dice", standard="inch", number=3, tilt_deg=24.0
    )
    light_scene.save(path, photo, truth)
    return path
