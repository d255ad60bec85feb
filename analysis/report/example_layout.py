"""A real job's film, as it was cut and as it could have been: pictures side by side."""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from typing import Any, Final

import pandas as pd

from analysis.packing.layouts import LEAST_LENGTH, Layout, Piece, Placed, Pull, Sheet
from analysis.packing.pack import layout_apart, pack_cheapest, pack_quick
from analysis.pricing.layout_sheets import too_large
from analysis.report.grids import FigureInfo, slices_of
from analysis.report.layout_svg import layout_svg
from analysis.report.layout_text import Tape, pulls_of
from analysis.report.look import FONT
from analysis.report.numbers import Numbers, label
from analysis.report.results import Review

_TITLE: Final = "A job laid out again"
# Jobs that are tried until one can be drawn as it was cut and has a shorter layout.
_TRIED: Final = 8
# So long the solver looks for the picture's layout; the command layout looks longer.
_EFFORT: Final = 1.0
_SLACK_M: Final = 1e-4
_SPACE: Final = 8.0  # between two pictures [mm]
_ROW: Final = 330.0  # width of a row of pictures [mm]
_SIZE: Final = re.compile(r'width="([\d.]+)mm" height="([\d.]+)mm"')


@dataclass(frozen=True, eq=False, kw_only=True)
class ExampleInfo(FigureInfo):
    """A job as it was cut and as it could have been cut: `pictures` are a title and an SVG each."""

    pictures: tuple[tuple[str, str], ...] = ()
    before: tuple[Pull, ...] = ()
    after: tuple[Pull, ...] = ()


def gather_example(review: Review) -> ExampleInfo:
    """The job of the quarter that could have saved the largest share of its film, drawn."""
    found = slices_of(review, "avoidable_by_job")
    if found.line:
        return ExampleInfo(title=_TITLE, line=found.line)
    jobs = review.frame("avoidable_by_job")
    share = jobs["avoidable_area_m2"] / (jobs["pulled_length_m"] * jobs["roll_width_m"])
    order = share.sort_values(ascending=False, kind="stable").index
    rows = jobs.loc[order].head(_TRIED)
    for row in rows.to_dict("records"):
        before = _as_cut(review, row)
        after = _laid_again(review, row, before) if before else None
        if after and after.length_m < _length_m(before) - LEAST_LENGTH:
            return _example(review, row, before, after)
    return ExampleInfo(title=_TITLE, line="The pulls of no such job can be drawn as they were cut.")


def _as_cut(review: Review, row: dict[Any, Any]) -> tuple[Pull, ...]:
    """The job's pulls of that day, each with its own pieces; empty where one does not hold them."""
    pulls = []
    turns = row["film"] not in review.settings.film.directional
    for cut in _cuts(review, row).to_dict("records"):
        name = label(cut["panel"])
        pieces = [
            Piece(name, cut["piece_length_m"], cut["piece_width_m"], may_turn=turns)
            for _ in range(int(cut["pieces"]))
        ]
        sheet = Sheet("roll", row["roll_width_m"])
        fixed = [Piece(each.name, each.length_m, each.width_m, may_turn=False) for each in pieces]
        # As it was written down where that fits, else turned.
        placed = _on_pull(fixed, sheet, cut["pulled_length_m"])
        placed = placed or _on_pull(pieces, sheet, cut["pulled_length_m"])
        if not placed:
            return ()
        pulls.append(Pull(sheet, cut["pulled_length_m"], placed))
    return tuple(pulls)


def _on_pull(pieces: Sequence[Piece], sheet: Sheet, pulled_m: float) -> tuple[Placed, ...]:
    """The pieces on a pull of that length; nothing where they do not fit on it."""
    if too_large(pieces, [sheet]) is not None:
        return ()
    laid = pack_quick(pieces, sheet).pulls
    fits = len(laid) == 1 and laid[0].length_m <= pulled_m + _SLACK_M
    return laid[0].placed if fits else ()


def _cuts(review: Review, row: dict[Any, Any]) -> pd.DataFrame:
    cuts = review.records["cuts"]
    same = (
        (cuts["job_id"] == row["job_id"])
        & (cuts["film"] == row["film"])
        & (cuts["cut_on"] == row["cut_on"])
        & ((cuts["pulled_width_m"] - row["roll_width_m"]).abs() < 1e-4)
        & (cuts["source"] != "offcut")
        & (cuts["reason"] == "first")
    )
    chosen: pd.DataFrame = cuts[
        same & cuts["piece_length_m"].notna() & cuts["piece_width_m"].notna()
    ]
    return chosen


def _laid_again(review: Review, row: dict[Any, Any], before: Sequence[Pull]) -> Layout:
    settings = review.settings
    turns = row["film"] not in settings.film.directional
    pieces = [
        Piece(each.piece.name, each.piece.length_m, each.piece.width_m, may_turn=turns)
        for pull in before
        for each in pull.placed
    ]
    sheet = Sheet("roll", row["roll_width_m"], settings.longest_pull_m)
    layout = pack_cheapest(pieces, [sheet], settings.knife_gap_m, _EFFORT)
    return layout if math.isfinite(sheet.longest_m) else layout_apart(layout, settings.knife_gap_m)


def _length_m(pulls: Sequence[Pull]) -> float:
    return sum(pull.length_m for pull in pulls)


def _example(
    review: Review, row: dict[Any, Any], before: tuple[Pull, ...], after: Layout
) -> ExampleInfo:
    say, tape = Numbers(review.settings), Tape(review.settings)
    pulled, needed = _length_m(before), after.length_m
    job, film = label(row["job_id"]), label(row["film"])
    title = (
        f"Job {job}, {film}: {tape.length(pulled)} were pulled; its pieces fit on "
        f"{tape.length(needed)}, {say.percent(100 * (1 - needed / pulled))} less"
    )
    words = (
        f"As it was cut: {pulls_of(len(before), pulled, tape)}",
        f"Laid out again: {pulls_of(len(after.pulls), needed, tape)}, {_proof(after)}",
    )
    pictures = (
        (words[0], row_of_pulls(before, review, "before", words[0])),
        (words[1], row_of_pulls(after.pulls, review, "after", words[1])),
    )
    return ExampleInfo(
        title=title,
        alternative=f"{words[0]}. {words[1]}.",
        note="Pulls unroll downwards, to one scale. Recuts, pieces from offcuts, and what was kept "
        "are not in the comparison. The command layout draws any job, with its cut list.",
        pictures=pictures,
        before=before,
        after=after.pulls,
    )


def _proof(layout: Layout) -> str:
    return "proven shortest" if layout.is_best else "the shortest found"


def row_of_pulls(pulls: Sequence[Pull], review: Review, key: str, words: str) -> str:
    """Pulls beside each other, in rows, as one SVG; numbers run on from pull to pull."""
    x = y = widest = row_height = 0.0
    number, parts = 1, []
    for at, pull in enumerate(pulls):
        svg = layout_svg(pull, review.settings, first_number=number, key=f"{key}-{at}")
        number += len(pull.placed)
        found = _SIZE.search(svg)
        if found is None:
            raise ValueError("a layout's picture does not say its size")
        width, height = float(found[1]), float(found[2])
        if x and x + width > _ROW:
            x, y, row_height = 0.0, y + row_height + _SPACE, 0.0
        place = f'x="{x:.2f}" y="{y:.2f}" width="{width:.2f}" height="{height:.2f}"'
        parts.append(svg.replace(found[0], place, 1))
        x += width + _SPACE
        widest, row_height = max(widest, x), max(row_height, height)
    height = y + row_height
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="layouts" role="img" '
        f'aria-label="{escape(words)}" width="{widest:.2f}mm" height="{height:.2f}mm" '
        f'viewBox="0 0 {widest:.2f} {height:.2f}">' + "\n".join(parts) + "</svg>"
    )


def sentence_svg(sentence: str) -> str:
    """A picture that says why there is none."""
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" width="180mm" height="10mm" viewBox="0 0 180 10">'
        f'<text x="0" y="6" font-size="4" font-family="{escape(FONT)}">{escape(sentence)}</text>'
        "</svg>"
    )
