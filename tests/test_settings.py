"""The user's settings: kept, read back, and a word on each thing that can't be."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from cutcheck.errors import CutcheckError
from cutcheck.settings import Settings, changed, load_settings, parse_printed, save_settings


def test_without_a_file_the_defaults_hold() -> None:
    """Who has set nothing gets the defaults: metric, mm, paper card, no print check."""
    assert load_settings() == Settings()
    assert Settings().printed is None


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.builds(
        Settings,
        printed=st.none() | st.just("197.4x213.2"),
        thickness_mm=st.floats(0, 5),
        standard=st.text(max_size=20),
        unit=st.sampled_from(["mm", "in"]),
        max_megapixels=st.floats(1, 400),
        max_megabytes=st.floats(1, 1000),
    )
)
def test_settings_come_back_as_they_were_kept(kept: Settings) -> None:
    """Any settings that are kept are read back the same, quotes, backslashes and accents included."""
    save_settings(kept)
    assert load_settings() == kept


def test_a_print_check_is_kept_until_forgotten() -> None:
    """The print check has one spelling, whatever it was given in, and can be forgotten."""
    kept = changed(Settings(), "printed", "197.4 × 213.2 mm")
    assert kept.printed == "197.4x213.2"
    assert changed(kept, "printed", "forget").printed is None


def test_a_print_check_may_be_in_inches() -> None:
    """7.80 x 8.43 in are the page's 198 x 214 mm (1 in = 25.4 mm exactly)."""
    assert parse_printed("7.80x8.43in") == "198.12x214.12"


@pytest.mark.parametrize(
    ("name", "value", "told"),
    [
        ("printed", "12x13", "none of the distances of a print check"),
        ("printed", "wide", "not a print check"),
        ("unit", "ell", "'ell' is not a unit"),
        ("thickness_mm", "-1", "thickness_mm can't be '-1'"),
        ("thickness_mm", "nan", "thickness_mm can't be 'nan'"),
        ("max_megapixels", "many", "max_megapixels can't be 'many'"),
        ("colour", "red", "'colour' is not a setting"),
    ],
)
def test_a_value_that_can_not_be_is_told(name: str, value: str, told: str) -> None:
    """A wrong value names itself and what would be right, and changes nothing."""
    with pytest.raises(CutcheckError, match=told) as caught:
        changed(Settings(), name, value)
    assert caught.value.code == "bad-option"
    assert caught.value.remedy


@pytest.mark.parametrize("text", ["unit = ", "\xff\xfe", "unit = 'furlong'", "colour = 1"])
def test_a_broken_file_is_told_with_its_name(own_settings: Path, text: str) -> None:
    """A settings file that can't be understood is named, not passed over."""
    own_settings.parent.mkdir(parents=True)
    own_settings.write_bytes(text.encode("latin-1"))
    with pytest.raises(CutcheckError) as caught:
        load_settings()
    assert caught.value.code == "bad-option"


def test_a_place_that_can_not_be_written_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Settings that can't be kept say where and why."""
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("CUTCHECK_SETTINGS", str(tmp_path / "file" / "settings.toml"))
    with pytest.raises(CutcheckError, match="can't be written"):
        save_settings(Settings(unit="in"))


def test_the_journal_s_place_and_the_photo_s_keeping_are_settings(own_settings: Path, tmp_path: Path) -> None:
    """A journal named in the settings is the one that is used; yes and no are read back, and nothing else."""
    from cutcheck.journal import journal_path

    named = changed(changed(Settings(), "journal", str(tmp_path / "ours.sqlite")), "keep_photo", "yes")
    save_settings(named)
    assert load_settings() == named
    assert load_settings().keep_photo is True
    with pytest.MonkeyPatch.context() as patch:
        patch.delenv("CUTCHECK_JOURNAL")
        assert journal_path() == tmp_path / "ours.sqlite"
    assert changed(named, "journal", "forget").journal is None
    with pytest.raises(CutcheckError, match="Give yes or no"):
        changed(named, "keep_photo", "perhaps")
