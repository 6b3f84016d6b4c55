"""A class's term on paper: one page for the class, and one for each student. Black and white is enough."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import date

from cutcheck import words
from cutcheck.classroom import class_words
from cutcheck.classroom.class_term import RECENT, ClassTerm, CutTerm, StudentTerm
from cutcheck.report_page import Box, Dot, Page, Plot

_ACROSS = 3
_DOTS, _MARKS = 92.0, 118.0
_STEP = 2.5  # marks nearer than this are stacked in a row of dots
_SIZE = 8.0
_CLASS_FOOT = (
    f"Each dot is a tray, or so many as is said above it; stacked dots are alike to {_STEP:g} marks; the "
    f"line is the mean mark. Mark lately: the mean of the last {RECENT}. {class_words.CAUTION}"
)
_STUDENT_FOOT = (
    "Circles: the marks, with what measuring leaves open. Crosses: the middle mark of the class for the same "
    "tray, where five or more handed in. Advice, not a rule: your instructor and your local food-safety code "
    "come first."
)


def class_pdf(
    term: ClassTerm,
    *,
    students: Sequence[str] | None = None,
    paper: str = "a4",
    font: str | None = None,
) -> bytes:
    """The term as PDF: an overview, then a page for each student with a mark (or those with these keys)."""
    chosen = [one for one in term.students if one.marks and (students is None or one.key in students)]
    said = [line for one in chosen for line in class_words.student_sayings(one)]
    names = [one.name for one in term.students] + list(term.assignment_names.values())
    cuts = [words.cut_title(one.cut) for one in term.cuts]
    text = " ".join([term.name, *names, *cuts, *class_words.sayings(term), *said, _CLASS_FOOT, _STUDENT_FOOT])
    page = Page(paper, f"Term of {term.name}", text, font)
    _overview(page, term)
    for student in chosen:
        page.turn()
        _student(page, term, student)
    return page.finished()


def _overview(page: Page, term: ClassTerm) -> None:
    page.heading("The class", class_words.title(term))
    for line in class_words.sayings(term):
        page.words(line, bullet=True)
    if not term.cuts:
        return
    page.gap(8.0)
    page.table(class_words.cut_rows(term.cuts), (3, 1, 1, 1, 1, 1), _SIZE)
    page.gap(8.0)
    _rows_of_plots(page, [_spread(cut) for cut in term.cuts], _DOTS)
    _long_table(page, class_words.student_rows(term.students), (3.4, 0.8, 1.2, 1.8, 0.6))
    page.gap(2.0)
    page.words(_CLASS_FOOT, 7.5, grey=True)


def _spread(cut: CutTerm) -> Plot:
    """The marks of one cut as dots, those alike above each other; the line is the mean."""
    counts: Counter[float] = Counter()
    dots = []
    places = sorted(_STEP * round(mark.mark / _STEP) for mark in cut.marks)
    most = max(Counter(places).values())
    # where many are alike a dot stands for several, so that the heap fits
    each = -(-most // 8)
    for place in places:
        if counts[place] % each == 0:
            dots.append(Dot(place, counts[place] // each))
        counts[place] += 1
    note = "" if each == 1 else f" (a dot: up to {each} trays)"
    title = f"{words.cut_title(cut.cut)}{note}"
    return Plot(title, dots, centre=cut.level, y_range=(0.0, 100.0), upright=False)


def _student(page: Page, term: ClassTerm, student: StudentTerm) -> None:
    page.heading(student.name, class_words.title(term))
    for line in class_words.student_sayings(student):
        page.words(line, bullet=True)
    page.gap(8.0)
    groups: dict[str, list[Dot]] = {}
    days = [date.fromisoformat(one.day).toordinal() for one in student.marks]
    for one, day in zip(student.marks, days, strict=True):
        dots = groups.setdefault(one.cut, [])
        if one.assignment in term.middles:
            dots.append(Dot(day, term.middles[one.assignment], "cross"))
        dots.append(Dot(day, one.mark, "circle", one.low, one.high))
    plots = []
    for cut, dots in groups.items():
        whole = [one.day for one in student.marks if one.cut == cut]
        ends = (whole[0], whole[-1] if len(whole) > 1 else "")
        plots.append(Plot(words.cut_title(cut), dots, y_range=(0.0, 100.0), x_names=ends))
    _rows_of_plots(page, plots, _MARKS)
    rows = [["day", "assignment", "cut", "mark", "give or take", "class middle"]]
    for one in student.marks:
        middle = term.middles.get(one.assignment)
        rows.append(
            [
                one.day,
                _short(term.assignment_names.get(one.assignment, one.assignment)),
                words.cut_title(one.cut),
                f"{one.mark:.0f}",
                f"{one.low:.0f} to {one.high:.0f}",
                "-" if middle is None else f"{middle:.0f}",
            ]
        )
    _long_table(page, rows, (1.1, 2.6, 1.6, 0.6, 1.3, 1.3))
    page.gap(2.0)
    page.words(_STUDENT_FOOT, 7.5, grey=True)


def _rows_of_plots(page: Page, plots: Sequence[Plot], height: float) -> None:
    third = page.width / _ACROSS
    for k in range(0, len(plots), _ACROSS):
        if page.room < height + 20.0:
            page.turn()
        page.gap(height)
        for j, plot in enumerate(plots[k : k + _ACROSS]):
            page.plot(plot, Box(page.left + j * third, page.top, third - 20.0, height))
        page.gap(10.0)


def _long_table(page: Page, rows: Sequence[Sequence[str]], shares: Sequence[float]) -> None:
    """A table that goes on on the next page, under its head again."""
    head, rest = rows[0], [[_short(cell) for cell in row] for row in rows[1:]]
    while rest:
        fit = int(page.room / (1.5 * _SIZE)) - 3
        if fit < min(len(rest), 4):
            page.turn()
            continue
        page.table([head, *rest[:fit]], shares, _SIZE)
        rest = rest[fit:]


def _short(text: str, most: int = 40) -> str:
    return text if len(text) <= most else f"{text[: most - 1]}…"
