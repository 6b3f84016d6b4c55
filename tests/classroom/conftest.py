"""What the tests of a class share: its photos, drawn once."""

from __future__ import annotations

from pathlib import Path

import class_photos
import pytest


@pytest.fixture(scope="session")
def class_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of an invented class's photos; ``roster.csv`` lies beside it. Not to be written to."""
    return class_photos.draw_class(tmp_path_factory.mktemp("class"))
