"""At the bench: photos one after the other, who is missing, what is to be settled, what failed."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from functools import lru_cache
from html import escape

import streamlit as st

from cutcheck.classroom.bench import Bench, bench_of
from cutcheck.classroom.bench_photo import BenchPhoto
from cutcheck.classroom.gradebook_rows import cut_of
from cutcheck.classroom.naming import Naming, Unsettled
from cutcheck.classroom.quick_look import quick_look
from cutcheck.errors import CutcheckError
from cutcheck.page import keys, panels
from cutcheck.page.classroom.desk import Desk, attempt
from cutcheck.page.tray.photos import PHOTO_TYPES, sample
from cutcheck.page.turns import turns
from cutcheck.page.wording import on_page
from cutcheck.words import both_names, count

LOOK_S = 1.5  # how often the progress is drawn anew
LEAVE_OUT = "It shall not count"
_OUT = -1


@lru_cache(maxsize=1)
def warm() -> None:
    """Once, while the trays are still laid out: have the rooms loaded that the first look needs."""
    threading.Thread(target=lambda: quick_look(sample().data), daemon=True).start()


@contextmanager
def _turn() -> Iterator[None]:
    with turns.turn(None, lambda said: None):
        yield


def bench_at(desk: Desk) -> Bench:
    """The bench of the open assignment."""
    assert desk.work is not None
    return bench_of(desk.journal, desk.work, _turn)


def show(desk: Desk) -> None:
    """Draw it."""
    if not desk.members:
        said = ["Add the list of students under 'Students': numbers in the photos then say whose tray it is."]
        st.html(panels.list_panel("Nobody had a card on that day", said))
        return
    assert desk.work is not None
    cut, rubric = cut_of(desk.work), desk.work.rubric
    told = f"{both_names(cut.entry)}, {cut.standard} standard. A sample of {rubric.sample_size} pieces: "
    st.html(panels.small_print([told + rubric.sample_note]))
    bench = bench_at(desk)
    _take(desk, bench)
    naming = bench.naming()
    _who_is_missing(desk, naming)
    _progress(bench, bench.busy)
    _to_settle(desk, bench, naming)
    _to_take_again(bench)
    _all_photos(bench, naming)


# ---- photos in


def _take(desk: Desk, bench: Bench) -> None:
    """The field for photos, and what a quick look said of the last ones."""
    state = st.session_state
    if not desk.who:
        why = ["Write it above: it stands in the log beside each mark. Then the photos can be taken."]
        st.html(panels.list_panel("Your name first", why))
        return
    number = state.setdefault(keys.BENCH_ROUND, 0)
    files = st.file_uploader(
        "Take or choose photos, one for each tray",
        type=PHOTO_TYPES,
        accept_multiple_files=True,
        key=f"{keys.BENCH_UPLOAD}-{number}",
        help="The student's card lies beside the pieces. On a phone this opens its own camera.",
    )
    place = st.empty()
    if files:
        said: list[str] = []
        for at, file in enumerate(files, 1):
            place.html(_looks([*said, f"Looking at photo {at} of {len(files)} …"]))
            try:
                photo, new = bench.give(file.name, file.getvalue(), desk.who)
                said.append(_verdict(desk, photo, new))
            except CutcheckError as error:
                said.append(f"<b>{escape(file.name)}</b>: {escape(on_page(error.message))}")
        state[keys.BENCH_LAST] = said
        state[keys.BENCH_ROUND] = number + 1  # an empty field for the next ones
        st.rerun()
    place.html(_looks(state.get(keys.BENCH_LAST, [])))


def _looks(lines: list[str]) -> str:
    """What was said of the last photos; a field of one height at least, so that nothing jumps."""
    items = (
        "".join(f"<li>{line}</li>" for line in lines) or "<li>Each photo is looked at within seconds.</li>"
    )
    return f"<div role='status' aria-live='polite'><ul class='cc-bench'>{items}</ul></div>"


def _verdict(desk: Desk, photo: BenchPhoto, new: bool) -> str:
    """One photo in a line, as HTML: whose it is, and whether it can be used."""
    called = escape(photo.called)
    if not new:
        return f"<b class='cc-poor'>Given before</b> {called}: the very same file, not counted again."
    if not photo.look.usable:
        why = f"{escape(on_page(photo.look.why))} {escape(on_page(photo.look.remedy))}"
        return f"<b class='cc-poor'>Take it again</b> {called}, because: {why}"
    whose = [m.student.name for m in desk.members if m.number in photo.look.numbers]
    name = escape(" and ".join(whose)) if len(photo.look.numbers) == 1 and whose else "whose is it? See below"
    return f"<b class='cc-good'>Usable</b> {called}: {name}, {count(photo.look.pieces, 'piece')} in sight."


# ---- who, and what is open


def _who_is_missing(desk: Desk, naming: Naming) -> None:
    """Every student, ticked off or not; always in sight, never hidden in a fold."""
    open_numbers = {number for one in naming.unsettled for number in one.numbers}
    missing = {one.number for one in naming.missing}
    here = len(desk.members) - len(missing | (open_numbers & {m.number for m in desk.members}))
    items = ""
    for one in desk.members:
        kind, said = ("in", "handed in")
        if one.number in missing:
            kind, said = "missing", "missing"
        elif one.number in open_numbers:
            kind, said = "open", "to settle"
        items += (
            f"<li class='cc-{kind}'><span>{one.number}</span> {escape(one.student.name)}"
            f"<span class='cc-hidden'>, {said}</span></li>"
        )
    st.html(
        f"<h3 class='cc-tally'>{here} of {len(desk.members)} handed in, {len(missing)} missing</h3>"
        f"<ul class='cc-roll'>{items}</ul>"
    )


def _to_settle(desk: Desk, bench: Bench, naming: Naming) -> None:
    """Photos whose student a person must say, each with a choice; nothing is guessed."""
    if not naming.unsettled:
        return
    by_name = {one.called: one for one in bench.photos()}
    st.subheader(f"To settle: {count(len(naming.unsettled), 'photo')}")
    for one in naming.unsettled:
        _settle(desk, bench, one, by_name[one.photo])


def _settle(desk: Desk, bench: Bench, one: Unsettled, photo: BenchPhoto) -> None:
    choices = {m.number: f"{m.number}: {m.student.name}" for m in desk.members} | {_OUT: LEAVE_OUT}
    with st.container(border=True, key=f"{keys.BENCH_SETTLE}-{photo.sha256[:12]}"):
        left, right = st.columns([1, 2], vertical_alignment="center")
        small = picture_of(desk, bench, photo)
        if small is not None:
            left.image(small, alt=f"{photo.called}: {one.told}")
        with right:
            st.html(f"<p><b>{escape(photo.called)}</b>: {escape(on_page(one.told))}.</p>")
            chosen = st.selectbox(
                "Whose tray is it?",
                list(choices),
                index=None,
                format_func=choices.__getitem__,
                placeholder="Choose",
                key=f"{keys.BENCH_SETTLE}-who-{photo.sha256}",
            )
            if st.button("That is so", key=f"{keys.BENCH_SETTLE}-ok-{photo.sha256}"):
                _say_whose(desk, bench, photo, chosen)


def _say_whose(desk: Desk, bench: Bench, photo: BenchPhoto, chosen: int | None) -> None:
    """Take the choice; a box that was left empty is no 'leave out'."""

    def settle() -> None:
        if chosen is None:
            raise CutcheckError("class", problem="Nobody is chosen yet.", remedy="Choose whose tray it is.")
        bench.settle(photo.sha256, None if chosen == _OUT else chosen, desk.who or photo.who)

    attempt(settle)


def _to_take_again(bench: Bench) -> None:
    """Photos that can't be used, and those whose measuring failed, each with its reason and ways on."""
    poor = [one for one in bench.photos() if one.state in ("again", "failed")]
    if not poor:
        return
    st.subheader(f"To take again: {count(len(poor), 'photo')}")
    for one in poor:
        code, why, remedy = (
            one.why_failed if one.state == "failed" else (one.look.code, one.look.why, one.look.remedy)
        )
        error = CutcheckError("class", problem=why or "It could not be measured.", remedy=remedy)
        st.html(panels.fault_panel(error, one.called) if not code else _fault(one.called, code, why, remedy))
        with st.container(horizontal=True):
            again = "Try once more" if one.state == "failed" else "Measure it all the same"
            # where no card was seen there is nothing to measure by
            if (one.state == "failed" or one.look.numbers) and st.button(
                again, key=f"bench-insist-{one.sha256}"
            ):
                bench.insist(one.sha256)
                st.rerun()
            if st.button("Forget this photo", key=f"bench-forget-{one.sha256}"):
                bench.remove(one.sha256)
                st.rerun()


def _fault(called: str, code: str, why: str, remedy: str) -> str:
    return (
        f"<div class='cc-panel cc-fault'><div><p class='cc-small'>{escape(called)}</p>"
        f"<h3>{escape(on_page(why))}</h3><p>{escape(on_page(remedy))}</p></div>{panels.instead(code)}</div>"
    )


# ---- the measuring


def _progress(bench: Bench, busy: bool) -> None:
    """How far the measuring is. While it goes on this part alone is drawn anew."""

    def draw() -> None:
        photos = bench.photos()
        if not photos:
            return
        waits = sum(one.state == "waits" for one in photos)
        done = sum(one.state in ("measured", "failed") for one in photos)
        now = bench.now
        said = f"{done} of {done + waits} measured"
        said += f"; now: {now}" if now else "; all done, the marks are under 'Marks'" if not waits else ""
        share = done / (done + waits) if done + waits else 1.0
        st.html(
            f"<div class='cc-bar' role='progressbar' aria-valuemin='0' aria-valuemax='{done + waits}' "
            f"aria-valuenow='{done}' aria-label='Photos measured'>"
            f"<i style='width:{100 * share:.0f}%'></i></div>"
            f"<p class='cc-small'>{escape(said)}.</p>"
        )
        if busy and not bench.busy:
            st.rerun()  # done: whole, so that the marks and what failed are there

    st.fragment(draw, run_every=LOOK_S if busy else None)()


def _all_photos(bench: Bench, naming: Naming) -> None:
    photos = bench.photos()
    if not photos:
        return
    whose = {one.photo: f"{one.student.name}{', by hand' if one.by_hand else ''}" for one in naming.named}
    states = {"again": "to take again", "waits": "waits", "failed": "failed", "measured": "measured"}
    rows = [
        {
            "photo": one.called,
            "student": whose.get(one.called, "left out" if one.settled is None else "-"),
            "state": states[one.state],
        }
        for one in photos
    ]
    with st.expander(f"All {count(len(photos), 'photo')}"):
        st.html(panels.table(rows))


# ---- pictures


def picture_of(desk: Desk, bench: Bench, photo: BenchPhoto) -> bytes | None:
    """A small picture of a photo on the bench, or of its graded tray; None where none can be drawn."""
    data = bench.photo_of(photo.sha256)
    if data is None and photo.kept is not None:
        copy = desk.book.photo(photo.kept[0])
        data = copy.data if copy else None
    return None if data is None else _small(photo.sha256, data)


@st.cache_data(max_entries=60, show_spinner=False)
def _small(sha256: str, _data: bytes) -> bytes | None:
    import cv2

    from cutcheck.photo import read_photo
    from cutcheck.picture import encode

    try:
        pixels = read_photo(_data).pixels
    except CutcheckError:
        return None
    factor = 480 / max(pixels.shape[:2])
    size = (round(pixels.shape[1] * factor), round(pixels.shape[0] * factor))
    return encode(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA), ".jpg")  # type: ignore[arg-type]
