"""Asking for photos: from the phone's own camera or a file, from this computer's camera, or the sample."""

from __future__ import annotations

from collections.abc import Sequence
from importlib import resources
from typing import NamedTuple

import streamlit as st
from streamlit.typing import UploadedFile

from cutcheck.page import keys, panels

PHOTO_TYPES = ["jpg", "jpeg", "png", "webp", "tif", "tiff", "heic", "heif"]
SAMPLE, SAMPLE_CUT = "sample-tray.jpg", "macedoine"
MOST_PHOTOS = 12  # at once, and held in one visit


class Given(NamedTuple):
    """A photo as it came."""

    id: str
    name: str
    data: bytes


def given(files: Sequence[UploadedFile] | None, taken: UploadedFile | None) -> list[Given]:
    """The photos in the two fields, whether they are new or not."""
    photos = [Given(file.file_id, file.name, file.getvalue()) for file in (files or [])[:MOST_PHOTOS]]
    return [*photos, Given(taken.file_id, "camera.jpg", taken.getvalue())] if taken else photos


def ask_for_photos() -> None:
    """The field for photos, from the phone's camera or from a file."""
    files = st.file_uploader(
        "Take or choose photos of a tray",
        type=PHOTO_TYPES,
        key=keys.UPLOAD,
        accept_multiple_files=True,
        help="On a phone this opens its own camera. Several photos may be of one tray or of several.",
    )
    if files and len(files) > MOST_PHOTOS:
        said = f"The first {MOST_PHOTOS} photos are measured. Give the others when these are done."
        st.html(panels.list_panel("Many photos", [said]))


def ask_the_camera() -> None:
    """A photo by this computer's own camera, which is opened only when it is asked for."""
    if st.toggle("Use the camera of this computer", key=f"{keys.CAMERA}_on"):
        st.html(
            "<p class='cc-small'>Such a picture is small and compressed: the sizes are less sure than from a "
            "phone's own photo. It works on this computer only.</p>"
        )
        st.camera_input("Photo of the tray", key=keys.CAMERA)


def sample() -> Given:
    """The sample photo, which comes with the program."""
    data = resources.files("cutcheck.page").joinpath("sample", SAMPLE).read_bytes()
    return Given(SAMPLE, SAMPLE, data)
