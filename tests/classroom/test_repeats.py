"""A tray handed in twice is known again by where its pieces lie and how large they are; others are not."""

from __future__ import annotations

import io
from pathlib import Path

import light_trays
import numpy as np
import pytest
from PIL import Image

from cutcheck.classroom.look import SIDE, Floats, Look, look_of
from cutcheck.classroom.repeats import Repeat, find_repeats, same_tray
from cutcheck.pipeline import measure_photo

# How well two photos agree on drawn trays: places 0.2 to 0.6 mm apart, sizes to some 0.1 mm.
PLACE_MM, SIZE_MM = 0.25, 0.08


def scattered(rng: np.random.Generator, count: int, apart_mm: float = 8.0) -> Floats:
    """Places on a board of 150 x 150 mm no nearer to each other than this, (count, 2) mm."""
    places: list[Floats] = []
    while len(places) < count:
        new = rng.uniform(0, 150, 2)
        if all(np.hypot(*(new - old)) > apart_mm for old in places):
            places.append(new)
    return np.array(places)


def in_rows(rng: np.random.Generator, count: int) -> Floats:
    """Places as by hand in rows of six, 12 mm apart, each off by 1 mm both ways (an assumption)."""
    grid = np.array([[12.0 * (k % 6), 12.0 * (k // 6)] for k in range(count)])
    return grid + rng.normal(0, 1.0, grid.shape)


def sizes(rng: np.random.Generator, count: int, sd_mm: float = 0.4) -> Floats:
    """Length and width of dice of 6.35 mm as a learner cuts them, (count, 2) mm."""
    return -np.sort(-rng.normal(6.35, sd_mm, (count, 2)), axis=1)


def seen(rng: np.random.Generator, places: Floats, its_sizes: Floats) -> Look:
    """A look at a tray: the card anywhere and turned, a picture like no other, and what measuring adds."""
    angle = rng.uniform(0, 2 * np.pi)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    moved = places @ turn.T + rng.uniform(-80, 80, 2) + rng.normal(0, PLACE_MM, places.shape)
    picture = rng.integers(0, 255, (SIDE, SIDE)).astype(np.uint8)
    order = rng.permutation(len(places))
    return Look(picture, moved[order], (its_sizes + rng.normal(0, SIZE_MM, its_sizes.shape))[order])


@pytest.mark.parametrize("count", [8, 30, 200])
@pytest.mark.parametrize("laid", [scattered, in_rows])
def test_the_same_pieces_are_known_again(count: int, laid: object) -> None:
    """Photographed again with the card elsewhere and every sixth piece not found, nine of ten trays are
    known."""
    known = 0
    for seed in range(20):
        rng = np.random.default_rng(seed)
        apart = 8.0 if count < 100 else 5.0
        places = scattered(rng, count, apart) if laid is scattered else in_rows(rng, count)
        its = sizes(rng, count)
        one, two = seen(rng, places, its), seen(rng, places, its)
        kept = rng.permutation(count)[: count - count // 6]
        known += same_tray(one, Look(two.small, two.places[kept], two.sizes[kept])) == "pieces"
    assert known >= 18


@pytest.mark.parametrize("sd_mm", [0.1, 0.4])
@pytest.mark.parametrize("laid", [scattered, in_rows])
def test_other_trays_of_the_same_cut_are_not_reported(laid: object, sd_mm: float) -> None:
    """Of 435 pairs of thirty trays, scattered or laid in rows by hand, uneven or even, none is reported."""
    rng = np.random.default_rng(7)
    looks = {}
    for k in range(30):
        count = int(rng.integers(12, 40))
        places = scattered(rng, count) if laid is scattered else in_rows(rng, count)
        looks[f"{k}.jpg"] = seen(rng, places, sizes(rng, count, sd_mm))
    assert find_repeats(looks) == ()


def test_few_pieces_tell_nothing() -> None:
    """Four pieces or fewer lie alike by chance, and are not compared."""
    rng = np.random.default_rng(3)
    places, its = scattered(rng, 4), sizes(rng, 4)
    assert same_tray(seen(rng, places, its), seen(rng, places, its)) is None


def test_a_look_comes_back_from_what_is_kept() -> None:
    """Written as JSON and read again it is the same to the digits that are kept."""
    rng = np.random.default_rng(4)
    look = seen(rng, scattered(rng, 9), sizes(rng, 9))
    again = Look.from_json(look.to_json())
    assert (again.small == look.small).all()
    assert np.abs(again.places - look.places).max() <= 0.005
    assert np.abs(again.sizes - look.sizes).max() <= 0.0005


def saved_again(path: Path, *, quality: int, scale: float, brighter: float = 1.0) -> bytes:
    """A photo opened and saved by another program, without what the camera wrote beside it."""
    image = Image.open(path).convert("RGB")
    image = image.resize((round(image.width * scale), round(image.height * scale)), Image.Resampling.LANCZOS)
    image = image.point(lambda value: min(255, round(value * brighter)))
    out = io.BytesIO()
    image.save(out, "JPEG", quality=quality)
    return out.getvalue()


def test_photos_of_drawn_trays(tmp_path: Path) -> None:
    """The same photo coarser, smaller and brighter, and the same dice from another place, are pointed out;
    another tray of the same cut is not."""
    light_trays.draw_pair(tmp_path, 7100, "small-dice")
    light_trays.draw(tmp_path, 7002, "small-dice", "other")
    first = tmp_path / "small-dice-7100-a.jpg"
    photos = {
        "first": first.read_bytes(),
        "coarser": saved_again(first, quality=40, scale=1.0),
        "smaller": saved_again(first, quality=80, scale=0.6, brighter=1.2),
        "again": (tmp_path / "small-dice-7100-b.jpg").read_bytes(),
        "other": (tmp_path / "other.jpg").read_bytes(),
    }
    looks = {name: look_of(measure_photo(data, name=name)) for name, data in photos.items()}
    found = find_repeats(looks)
    assert Repeat("first", "coarser", "photo") in found
    assert Repeat("first", "smaller", "photo") in found
    assert Repeat("first", "again", "pieces") in found
    assert not [repeat for repeat in found if "other" in (repeat.first, repeat.second)]
