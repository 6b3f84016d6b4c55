"""Small panels of HTML: the mark, a piece, what was wrong, what to know. Each takes what it shows."""

from __future__ import annotations

import re
from base64 import b64encode
from collections.abc import Mapping, Sequence
from html import escape

from cutcheck import words
from cutcheck.errors import CutcheckError
from cutcheck.page.fault_drawings import drawing_of
from cutcheck.page.wording import on_page
from cutcheck.records import SIDES, Piece, Result, Score, SideName, SideScore, Verdict
from cutcheck.table import side_words
from cutcheck.units import Unit, show, show_on_ruler, show_range
from cutcheck.verdict import EXCLUDED, Rules

CAUTION = (
    "Curl the fingertips of the guiding hand, keep the board from slipping and cut away from the body. Wash "
    "hands, produce, board and knife; keep raw meat and allergens apart. Pieces that lay beside a bare paper "
    "card are not served. Your instructor and your local food-safety code come first."
)

# An outline and a label, as they are drawn in the picture: SVG inside a 44 x 24 frame.
_KEYS: dict[Verdict | None, str] = {
    "in": "<path d='M1 12H24' stroke='#0072b2' stroke-width='3'/><circle cx='34' cy='12' r='8' fill='#fff' "
    "stroke='#0072b2' stroke-width='2'/>",
    "out": "<path d='M1 12H24' stroke='#d55e00' stroke-width='3' stroke-dasharray='7 4'/><rect x='26' y='4' "
    "width='16' height='16' fill='#963a00' stroke='#d55e00' stroke-width='2'/>",
    "unsure": "<g fill='none' stroke-dasharray='.1 7' stroke-linecap='round'><path d='M2 12H22' "
    "stroke='#111' stroke-width='6'/><path d='M2 12H22' stroke='#f0e442' stroke-width='3.5'/></g>"
    "<path d='M34 2l10 10l-10 10l-10-10z' fill='#f0e442' stroke='#111' stroke-width='1.5'/>",
    "offcut": "<path d='M2 12H24' stroke='#808080' stroke-width='4' stroke-dasharray='.1 8' "
    "stroke-linecap='round'/><rect x='26' y='6' width='16' height='12' fill='#e0e0e0' stroke='#606060'/>",
    None: "<path d='M1 12H24' stroke='#909090' stroke-width='3'/><rect x='26' y='6' width='16' height='12' "
    "fill='#e0e0e0' stroke='#606060'/>",
}


def mark_panel(score: Score) -> str:
    """The mark in large type, its interval on a line from 0 to 100, and what it is made of."""
    low, high, at = (min(max(v, 0.0), 100.0) for v in (score.mark_low, score.mark_high, score.mark))
    said = f"Mark {score.mark:.0f} of 100; measuring leaves {low:.0f} to {high:.0f}"
    line = (
        f"<div class='cc-line' role='img' aria-label='{said}'>"
        f"<i style='left:{low:.1f}%;width:{max(high - low, 0.5):.1f}%'></i>"
        f"<b style='left:{at:.1f}%'></b></div>"
        "<div class='cc-ends cc-small' aria-hidden='true'><span>0</span><span>50</span><span>100</span></div>"
    )
    parts = [("on size", words.percent(score.on_size))]
    parts += [("evenness", words.percent(score.evenness))] if score.evenness is not None else []
    parts += [("squareness", words.percent(score.squareness))] if score.squareness is not None else []
    parts.append(("pieces counted", str(score.counted)))
    cells = "".join(f"<div><dt>{name}</dt><dd>{value}</dd></div>" for name, value in parts)
    leaves = f"<div class='cc-small'>Measuring leaves {low:.0f} to {high:.0f}.</div>"
    return (
        f"<div class='cc-mark'><div class='cc-figure'>{score.mark:.0f}<span>of 100</span></div>"
        f"<div class='cc-range'>{line}{leaves}</div><dl class='cc-parts'>{cells}</dl></div>"
    )


def key(result: Result) -> str:
    """What each line and label means, and how many pieces have it."""
    items = []
    for verdict, number in words.tally(result.pieces).items():
        frame = f"<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 44 24'>{_KEYS[verdict]}</svg>"
        picture = image(frame, "", "cc-sample", 44, 24)
        items.append(f"<li>{picture}{words.VERDICTS[verdict]}: {number}</li>")
    return f"<ul class='cc-key'>{''.join(items)}</ul>"


def image(svg: str, said: str, style: str, width: float | None = None, height: float | None = None) -> str:
    """An SVG document as an image, CSS px: of HTML the framework lets no drawing itself through."""
    size = "" if width is None or height is None else f" width='{width:.0f}' height='{height:.0f}'"
    address = "data:image/svg+xml;base64," + b64encode(svg.encode()).decode()
    return f"<img class='{style}' src='{address}' alt='{escape(said)}'{size}>"


def said_of(piece: Piece) -> str:
    """The verdict on a piece in words; of one that was left out by hand, that."""
    return words.FLAGS[EXCLUDED] if EXCLUDED in piece.flags else words.VERDICTS[piece.verdict]


def piece_panel(piece: Piece, sides: Sequence[SideScore], unit: Unit) -> str:
    """One piece: its verdict, its sides with their give or take, what was aimed at, and what is odd."""
    targets = {side.side: side for side in sides}
    rows = []
    for side in SIDES:
        target, measure = targets.get(side), getattr(piece, side)
        name = target.label if target and target.label else side
        measured = side_words(measure, unit)
        if unit == "in" and measure.mm is not None:
            measured += f"<br><span class='cc-small'>on a ruler: {show_on_ruler(measure.mm)}</span>"
        if target:
            measured += f"<br><span class='cc-small'>on size: {show_range(*target.target_mm, unit)}</span>"
        rows.append(f"<tr><th scope='row'>{escape(name)}</th><td>{measured}</td></tr>")
    for figure in piece.figures:
        value = f"{figure.value:.1f} {escape(figure.unit)}, give or take {figure.u95:.1f}"
        if figure.unit == "mm":
            value = show(figure.value, figure.u95, unit)
        rows.append(f"<tr><th scope='row'>{escape(figure.name)}</th><td>{value}</td></tr>")
    if piece.conformity is not None:
        rows.append(
            f"<tr><th scope='row'>chance to be on size</th><td>{words.chance(piece.conformity)}</td></tr>"
        )
    notes = "; ".join(words.flag(flag) for flag in piece.flags if flag != EXCLUDED)
    note = f"<p class='cc-small'>{escape(notes)}.</p>" if notes else ""
    return f"<h3>Piece {piece.number}: {said_of(piece)}</h3><table>{''.join(rows)}</table>{note}"


def mark_parts(score: Score, rules: Rules) -> list[dict[str, str]]:
    """Where the mark comes from: each part, what it weighs and what it brings. What can't be seen leaves its
    weight to the rest."""
    parts = [
        ("on size", score.on_size, rules.on_size, "the chance to be on size, over all pieces"),
        ("evenness", score.evenness, rules.evenness, "how alike the pieces are"),
        ("squareness", score.squareness, rules.squareness, "how alike the sides of one piece are"),
    ]
    total = sum(weight for _, share, weight, _ in parts if share is not None)
    return [
        {
            "part": name,
            "what it is": about,
            "here": words.percent(share),
            "brings": "not seen"
            if share is None
            else f"{100 * share * weight / total:.1f} of {100 * weight / total:.0f}",
        }
        for name, share, weight, about in parts
    ]


def fault_panel(error: CutcheckError, name: str = "") -> str:
    """What is wrong and what to do, with a small drawing where one helps. ``name``: the photo it is about."""
    about = f"<p class='cc-small'>{escape(name)}</p>" if name else ""
    return (
        f"<div class='cc-panel cc-fault' role='alert'><div>{about}<h3>{escape(on_page(error.message))}</h3>"
        f"<p>{escape(on_page(error.remedy))}</p></div>{instead(error.code)}</div>"
    )


def instead(code: str) -> str:
    """The drawing for a code: how not, and how; nothing where there is none."""
    drawn = drawing_of(code)
    return "" if drawn is None else image(*drawn, "cc-instead", 312, 112)


def list_panel(title: str, lines: Sequence[str]) -> str:
    """A titled list of sentences."""
    items = "".join(f"<li>{escape(on_page(line))}</li>" for line in lines)
    return f"<div class='cc-panel cc-note'><h3>{escape(on_page(title))}</h3><ul>{items}</ul></div>"


def spread_title(side: SideName, score: SideScore | None, unit: Unit) -> str:
    """The line above a spread: the side, its mean and how many are on size."""
    if score is None:
        return f"<h4 class='cc-spread'>{side.capitalize()}</h4>"
    mean = "" if score.mean_mm is None else f": mean {show(score.mean_mm, unit=unit)}"
    share = "" if score.share_on_size is None else f", {words.percent(score.share_on_size)} on size"
    name = escape((score.label or side).capitalize())
    return f"<h4 class='cc-spread'>{name}<span>{mean}{share}</span></h4>"


def table(rows: Sequence[Mapping[str, str]]) -> str:
    """Rows as a table that wraps its text; the first column names the row."""
    if not rows:
        return ""
    head = "".join(f"<th scope='col'>{escape(name)}</th>" for name in rows[0])
    body = ""
    for row in rows:
        first, *others = (_kept_together(escape(value)) for value in row.values())
        body += f"<tr><th scope='row'>{first}</th>{''.join(f'<td>{value}</td>' for value in others)}</tr>"
    # It scrolls where it is too wide, so it can be reached with the keyboard.
    scrolls = "<div class='cc-table' tabindex='0' role='region' aria-label='Table'>"
    return f"{scrolls}<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>"


def _kept_together(text: str) -> str:
    """A figure with its unit does not break between the two."""
    return re.sub(r"(\d) (mm|in|g|kg|oz|lb|%)\b", "\\1\N{NO-BREAK SPACE}\\2", text)


def plain_label(text: str) -> str:
    """A text that others wrote as the label of a field or a button, where it must not be read as Markdown.

    Addresses and emoji, which are looked for after the signs are read, are broken by a word joiner (U+2060,
    which is not seen).
    """
    text = re.sub(r"(?<=:)(?=\S)|(?=@)|(?<=www)(?=\.)", "\u2060", text, flags=re.IGNORECASE)
    return "".join(f"\\{sign}" if sign in "\\`*_{}[]<>()#+-.!|~:$&" else sign for sign in text)


def caution() -> str:
    """The usual cautions, at the foot of each place."""
    return f"<p class='cc-caution'>{CAUTION}</p>"


def small_print(lines: Sequence[str]) -> str:
    """Notes in small type, one to a line."""
    return "".join(f"<p class='cc-small'>{escape(line)}</p>" for line in lines)
