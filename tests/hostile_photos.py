"""Hostile photo files by number: kind and number always give the same bytes, so that a fault can be repeated.

Good files of every format are broken in their bytes or their structure, or made strange from the start. Plain
seeded mutation, and not coverage-guided fuzzing (Atheris): the codecs come as finished wheels that report no
coverage, and a numbered input can be resumed and repeated.
"""

from __future__ import annotations

import random
import struct
import zlib
from collections.abc import Callable
from functools import cache
from typing import Any

import cv2
import light_scene
import numpy as np
from numpy.typing import NDArray
from photo_files import encoded, exif
from PIL import Image

Chance = random.Random
FORMATS = ("JPEG", "PROGRESSIVE", "PNG", "WEBP", "TIFF", "HEIF")


@cache
def tray() -> NDArray[np.uint8]:
    """(600, 800, 3) uint8 RGB: a card and two dice, a photo that can be measured."""
    dice = ({"shape": "box", "mm": (12.7, 12.7, 12.7), "count": 2},)
    photo, _ = light_scene.scene(
        11, size=(800, 600), pieces=dice, cut="medium-dice", standard="inch", number=3, tilt_deg=20.0
    )
    return np.ascontiguousarray(photo[..., ::-1])


@cache
def good(kind: str) -> bytes:
    """The tray as a file of one of ``FORMATS``."""
    if kind == "PROGRESSIVE":
        return encoded(tray(), "JPEG", progressive=True, exif=exif(1))
    return encoded(tray(), kind, exif=exif(1))


def mutated(data: bytes, chance: Chance) -> bytes:
    """Bytes changed, cut out, doubled or cut off; half of the changes hit the first 400 bytes."""
    broken = bytearray(data)
    for _ in range(chance.randint(1, 8)):
        reach = len(broken) if chance.random() < 0.5 else min(len(broken), 400)
        at = chance.randint(0, max(reach - 1, 0))
        deed = chance.choice(("set", "number", "drop", "double", "cut"))
        if deed == "set":
            broken[at : at + 1] = bytes([chance.randint(0, 255)])
        elif deed == "number":  # lengths, counts and sizes that lie
            value = chance.choice((0, 1, 0x7FFF, 0xFFFF, 0x7FFFFFFF, 0xFFFFFFFF))
            broken[at : at + 4] = value.to_bytes(4, chance.choice(("big", "little")))
        elif deed == "drop":
            del broken[at : at + chance.randint(1, 60)]
        elif deed == "double":
            broken[at:at] = broken[at : at + chance.randint(1, 60)]
        else:
            del broken[max(at, 1) :]
    return bytes(broken)


def png_chunk(kind: bytes, data: bytes) -> bytes:
    """A chunk with its right checksum (PNG, third edition, 5.3)."""
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def header_lie(chance: Chance) -> bytes:
    """A size in the header that is not the picture's, with checksums that are right."""
    side = chance.choice((0, 1, 63, 799, 801, 5000, 30_000, 65_535))
    kind = chance.choice(("JPEG", "PROGRESSIVE", "PNG", "WEBP", "TIFF", "HEIF"))
    data = bytearray(good(kind))
    if kind in ("JPEG", "PROGRESSIVE"):
        at = data.index(b"\xff\xc0" if kind == "JPEG" else b"\xff\xc2") + chance.choice((5, 7))
        data[at : at + 2] = struct.pack(">H", side)
    elif kind == "PNG":
        place = chance.choice((0, 4))
        head = bytearray(data[16:29])
        head[place : place + 4] = struct.pack(">I", side * chance.choice((1, 60_000)) % 2**32)
        head[8] = chance.choice((8, 8, 16, 1, 99))
        data[8:33] = png_chunk(b"IHDR", bytes(head))
    elif kind == "HEIF":
        at = data.index(b"ispe") + 8 + chance.choice((0, 4))
        data[at : at + 4] = struct.pack(">I", side)
    else:  # the number stands somewhere in the header: change it wherever it does
        for number in (struct.pack("<H", 800), struct.pack("<H", 799), struct.pack("<H", 600)):
            if (at := data.find(number)) >= 0:
                data[at : at + 2] = struct.pack("<H", side)
                break
    return bytes(data)


def bomb(chance: Chance) -> bytes:
    """A small file that asks for much: pixels, text, scans, directories."""
    what = chance.choice(("claim", "empty", "alpha", "text", "scans", "directories", "ribbon"))
    start = b"\x89PNG\r\n\x1a\n"
    if what == "claim":
        head = struct.pack(">IIBBBBB", 60_000, 60_000, 8, 2, 0, 0, 0)
        return start + png_chunk(b"IHDR", head) + png_chunk(b"IDAT", zlib.compress(bytes(1_000_000)))
    if what in ("empty", "alpha"):
        mode = "RGB" if what == "empty" else "RGBA"
        return large(mode, chance.choice(("PNG", "JPEG" if what == "empty" else "PNG")))
    if what == "text":
        text = b"Comment\0\0" + zlib.compress(bytes(80_000_000), 9)
        whole = good("PNG")
        return whole[:33] + png_chunk(b"zTXt", text) * chance.randint(1, 9) + whole[33:]
    if what == "scans":
        whole = large("RGB", "PROGRESSIVE", (6000, 4000))
        last = whole[whole.rindex(b"\xff\xda") : -2]
        return whole[:-2] + last * chance.randint(100, 3000) + b"\xff\xd9"
    if what == "directories":  # each TIFF directory names the next, the last the first
        count = chance.randint(1, 5000)
        each = b"\1\0" + struct.pack("<HHII", 0x0100, 3, 1, 800)
        return b"II*\0\x08\0\0\0" + b"".join(
            each + struct.pack("<I", 8 + 18 * ((i + 1) % count)) for i in range(count)
        )
    return encoded(Image.new("RGB", (60_000, 70)), "PNG")


@cache
def large(mode: str, kind: str, size: tuple[int, int] = (9000, 6600)) -> bytes:
    """A uniform picture of many pixels in a small file, as a file of ``kind``."""
    image = Image.new(mode, size, (120,) * len(mode))
    if kind == "PROGRESSIVE":
        return encoded(image, "JPEG", progressive=True)
    return encoded(image, kind, **({"compress_level": 1} if kind == "PNG" else {}))


def strange_exif(chance: Chance) -> bytes:
    """Noise, loops, lying counts and wrong types where EXIF should be (CIPA DC-008, 4.6)."""
    entries = b""
    count = chance.randint(0, 30)
    tags = (0x010F, 0x0110, 0x0112, 0x8769, 0x8825, 0x920A, 0x9003, 0xA002, 0xA003, 0xA405, 0xA434, 0x927C)
    for _ in range(count):
        entries += struct.pack(
            "<HHII",
            chance.choice((*tags, chance.randint(0, 65_535))),
            chance.randint(0, 14),
            chance.choice((0, 1, 2, 4, 1000, 0xFFFFFFFF)),
            chance.choice((0, 8, 26, 0xFFFFFFFF, chance.randint(0, 2**32 - 1))),
        )
    stated = chance.choice((count, count + 1, 65_535))
    block = b"II*\0\x08\0\0\0" + struct.pack("<H", stated) + entries + struct.pack("<I", 8)
    if chance.random() < 0.3:
        block = chance.randbytes(chance.randint(0, 3000))
    return encoded(tray(), chance.choice(("JPEG", "PNG", "WEBP")), exif=b"Exif\0\0" + block)


def orientation(chance: Chance) -> bytes:
    """Any number as the orientation, also those that Exif does not know."""
    value = chance.choice((*range(10), 255, 65_535))
    if chance.random() < 0.3:  # as text, or a camera that states absurd figures
        tags = {0x010F: chance.choice(("\x1b[31m" + "x" * 5000, "", "<b>", "‮")), 0x0110: "Phone"}
        inner = {0xA405: chance.choice((0, 1, 65_535)), 0x9003: "9999:99:99 99:99:99", 0xA002: 1, 0xA003: 1}
        return encoded(tray(), "JPEG", exif=exif(value, tags, inner))
    return encoded(tray(), chance.choice(("JPEG", "PNG", "WEBP", "TIFF", "HEIF")), exif=exif(value))


def thin(chance: Chance) -> bytes:
    """One pixel by twenty thousand, and neighbours of the least and the most that is read."""
    size = [chance.choice((1, 2, 63, 64, 65)), chance.choice((20_000, 2000, 64, 1))]
    chance.shuffle(size)
    kind = chance.choice(("JPEG", "PNG", "TIFF") if max(size) > 16_000 else ("JPEG", "PNG", "WEBP", "TIFF"))
    return encoded(Image.fromarray(noise(size[0], size[1], chance)), kind)


def noise(width: int, height: int, chance: Chance) -> NDArray[np.uint8]:
    """(H, W, 3) uint8: every pixel by chance."""
    return np.random.default_rng(chance.getrandbits(32)).integers(0, 256, (height, width, 3)).astype(np.uint8)


def deep(chance: Chance) -> bytes:
    """Sixteen bits: grey and coloured PNG, grey TIFF, and floats that no camera writes."""
    what = chance.choice(("grey png", "colour png", "grey tiff", "float tiff", "int tiff"))
    grey = cv2.cvtColor(tray(), cv2.COLOR_RGB2GRAY)
    if what == "colour png":
        return bytes(cv2.imencode(".png", tray()[..., ::-1].astype(np.uint16) * 257)[1])
    if what == "grey png":
        return encoded(Image.fromarray(grey.astype(np.uint16) * 257), "PNG")
    if what == "grey tiff":
        return encoded(Image.fromarray(grey.astype(np.uint16) * 257), "TIFF")
    return encoded(Image.fromarray(grey.astype(np.float32 if what == "float tiff" else np.int32)), "TIFF")


def colours(mode_kinds: tuple[tuple[str, str], ...], **options: Any) -> Callable[[Chance], bytes]:
    """The tray in one of (mode, format), half of them mutated."""

    def make(chance: Chance) -> bytes:
        mode, kind = chance.choice(mode_kinds)
        image = Image.fromarray(tray()).convert(mode)
        if mode in ("RGBA", "LA"):
            image.putalpha(chance.choice((0, 128, 255)))
        more = {"transparency": chance.randint(0, 255)} if kind == "PNG" and mode == "P" else {}
        data = encoded(image, kind, **more, **options)
        return mutated(data, chance) if chance.random() < 0.5 else data

    return make


def animated(chance: Chance) -> bytes:
    """Several pictures in a file, some of other sizes, half of them mutated."""
    kind = chance.choice(("WEBP", "PNG", "TIFF", "MPO"))
    first = Image.fromarray(tray())
    more = [first.resize((400, 300)) if kind in ("TIFF", "MPO") else first.copy() for _ in range(2)]
    data = encoded(first, kind, save_all=True, append_images=more)
    return mutated(data, chance) if chance.random() < 0.5 else data


def truncated(chance: Chance) -> bytes:
    """A file that ends at one of its tenths."""
    data = good(chance.choice(FORMATS))
    return data[: len(data) * chance.randint(0, 9) // 10]


def other_kinds(chance: Chance) -> bytes:
    """Files that are no photo of a kind that is read, some of them mutated; noise behind good beginnings."""
    kind = chance.choice(("GIF", "BMP", "ICO", "AVIF", "PDF", "PPM", "noise", "noise"))
    if kind == "noise":
        magics = (b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"RIFF", b"II*\0", b"MM\0*", b"BM", b"")
        return chance.choice(magics) + chance.randbytes(chance.randint(0, 2000))
    if kind == "AVIF":
        return b"\0\0\0\x1cftypavif\0\0\0\0avifmif1miaf" + chance.randbytes(500)
    data = encoded(Image.fromarray(tray()), kind)
    return mutated(data, chance) if chance.random() < 0.5 else data


def strange_picture(chance: Chance) -> bytes:
    """A good file of what no kitchen shows: noise, stripes, squares by the hundred, confetti, cards askew."""
    what = chance.choice(("noise", "uniform", "stripes", "squares", "confetti", "doubled", "squeezed"))
    rng = np.random.default_rng(chance.getrandbits(32))
    picture = tray().copy()
    if what == "noise":
        picture = noise(chance.choice((64, 300, 1200)), chance.choice((64, 300, 900)), chance)
    elif what == "uniform":
        picture[:] = rng.integers(0, 256, 3)
    elif what == "stripes":
        picture[:: chance.randint(2, 40)] = 0
    elif what == "squares":
        words = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
        picture[:] = 255
        for row in range(12):
            for column in range(16):
                tag = words.generateImageMarker(int(rng.integers(0, 12)), 40)
                picture[50 * row + 5 :][:40, 50 * column + 5 :][:, :40] = tag[..., None]
    elif what == "confetti":
        for _ in range(chance.choice((20, 300, 3000))):
            x, y = int(rng.integers(0, 800)), int(rng.integers(0, 600))
            if picture[y, x].min() < 235:  # the card's paper is left alone, mostly
                cv2.circle(picture, (x, y), int(rng.integers(1, 9)), rng.integers(0, 256, 3).tolist(), -1)
    elif what == "doubled":
        picture = np.concatenate([picture, picture[:, ::-1] if chance.random() < 0.5 else picture], axis=1)
    else:
        size = (chance.choice((200, 800, 1600)), chance.choice((100, 600, 1800)))
        picture = np.asarray(cv2.resize(picture, size), np.uint8)
    return encoded(picture, chance.choice(("JPEG", "PNG")))


def _mutated_kind(kind: str) -> Callable[[Chance], bytes]:
    return lambda chance: mutated(good(kind), chance)


KINDS: dict[str, Callable[[Chance], bytes]] = {
    **{f"mutated {kind.lower()}": _mutated_kind(kind) for kind in FORMATS},
    "header lie": header_lie,
    "bomb": bomb,
    "exif": strange_exif,
    "orientation": orientation,
    "thin": thin,
    "16 bits and floats": deep,
    "print colours": colours((("CMYK", "JPEG"), ("CMYK", "TIFF"), ("YCbCr", "TIFF"), ("LAB", "TIFF"))),
    "palette": colours((("P", "PNG"), ("1", "PNG"), ("P", "TIFF"), ("1", "TIFF"), ("L", "JPEG"))),
    "alpha": colours((("RGBA", "PNG"), ("LA", "PNG"), ("RGBA", "WEBP"), ("RGBA", "HEIF"), ("RGBA", "TIFF"))),
    "animated": animated,
    "truncated": truncated,
    "other kinds": other_kinds,
    "strange picture": strange_picture,
}
NAMES = tuple(KINDS)


def hostile(number: int) -> tuple[str, bytes]:
    """The kind and the bytes of input ``number``, 0 and up; kinds take turns."""
    kind = NAMES[number % len(NAMES)]
    return kind, KINDS[kind](random.Random(f"{kind} {number}"))

