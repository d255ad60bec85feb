"""One pull of film drawn to scale: pieces, cut lines, rulers, and what is left over.

The roll's width lies across the picture and its length runs down it, from the start of the pull, as
it lies on the table in front of the one who cuts. A unit of the drawing is a millimetre of paper.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from html import escape
from typing import Final

from analysis.packing.layouts import LEAST_LENGTH, Placed, Pull
from analysis.report.layout_rests import LEAST_SIDE_M, edges, left_over
from analysis.report.layout_text import Tape, in_order, pull_name
from analysis.report.look import FONT, INK, PAPER, SKY, SOFT_INK
from analysis.report.numbers import typed
from analysis.settings import Settings

# Paper: one to twenty shows a roll of 60 in on 76 mm, beside its cut list on A4.
SCALE: Final = 20.0
_LEFT, _TOP, _RIGHT, _BOTTOM = 13.0, 14.0, 13.0, 7.0
_BIG, _SMALL, _TINY = 4.4, 2.7, 2.1
# Width of a letter ÷ its height, on average, and of a line of text.
_LETTER, _LINE = 0.56, 1.25
# Ticks of the ruler in the tape's unit: small, middle, and with a number.
_TICKS_M: Final = {"in": (0.0254, 0.1524, 0.3048), "metric": (0.02, 0.1, 0.2)}


@dataclass(frozen=True)
class _Drawing:
    """Where things of a stretch of a pull lie on paper. [mm]"""

    pull: Pull
    first_m: float
    last_m: float
    tape: Tape
    key: str

    @property
    def width(self) -> float:
        return self.pull.sheet.width_m * 1000 / SCALE

    @property
    def height(self) -> float:
        return (self.last_m - self.first_m) * 1000 / SCALE

    def x(self, across_m: float) -> float:
        return _LEFT + across_m * 1000 / SCALE

    def y(self, along_m: float) -> float:
        return _TOP + (along_m - self.first_m) * 1000 / SCALE


def layout_svg(
    pull: Pull,
    settings: Settings,
    *,
    first_number: int = 1,
    part: tuple[float, float] | None = None,
    key: str = "pull",
) -> str:
    """One pull, or a stretch of it, as an SVG picture at 1 : 20.

    Parameters
    ----------
    pull : what is pulled, with its pieces
    settings : the shop's units, and how it writes numbers
    first_number : number of the first piece in the cut list
    part : from where to where; None: all of it [m]
    key : a name for the picture, its own on the page
    """
    first, last = part or (0.0, pull.length_m)
    draw = _Drawing(pull, first, last, Tape(settings), key)
    width, height = _LEFT + draw.width + _RIGHT, _TOP + draw.height + _BOTTOM
    numbered = list(enumerate(in_order(pull), start=first_number))
    shown = [(n, each) for n, each in numbered if _in_part(each, first, last)]
    body = [
        *_film(draw),
        *(line for n, each in shown for line in _piece(draw, n, each)),
        *_left(draw),
        *_rulers(draw),
        *_cut_lines(draw),
    ]
    words = alternative(pull, settings, [n for n, _ in shown])
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" class="layout" role="img" '
            f'aria-label="{escape(words)}" width="{width:.2f}mm" height="{height:.2f}mm" '
            f'style="--paper:{width:.2f}mm" '
            f'viewBox="0 0 {width:.2f} {height:.2f}" font-family="{escape(FONT)}">',
            f"<title>{escape(words)}</title>",
            _patterns(key),
            *body,
            "</svg>",
        ]
    )


def alternative(pull: Pull, settings: Settings, numbers: Sequence[int]) -> str:
    """Words in place of the picture."""
    span = f"pieces {numbers[0]} to {numbers[-1]}" if len(numbers) > 1 else "one piece"
    return f"Cutting layout: {pull_name(pull, settings)}, {span}. The cut list holds every number."


def _in_part(each: Placed, first: float, last: float) -> bool:
    return (
        each.along_m < last - LEAST_LENGTH and each.along_m + each.length_m > first + LEAST_LENGTH
    )


def _patterns(key: str) -> str:
    return (
        f'<defs><pattern id="{key}-left" width="2.2" height="2.2" patternUnits="userSpaceOnUse" '
        f'patternTransform="rotate(45)"><rect width="2.2" height="2.2" fill="{PAPER}"/>'
        f'<path d="M0 0V2.2" stroke="{SOFT_INK}" stroke-width="0.35"/></pattern>'
        f'<marker id="{key}-head" viewBox="0 0 6 6" refX="5" refY="3" markerWidth="5" '
        f'markerHeight="5" orient="auto-start-reverse"><path d="M0 0L6 3L0 6z" fill="{INK}"/>'
        "</marker></defs>"
    )


def _film(draw: _Drawing) -> Iterator[str]:
    yield _rectangle(_LEFT, _TOP, draw.width, draw.height, f"url(#{draw.key}-left)", 0.3)


def _piece(draw: _Drawing, number: int, each: Placed) -> Iterator[str]:
    top = max(each.along_m, draw.first_m)
    end = min(each.along_m + each.length_m, draw.last_m)
    x, y = draw.x(each.across_m), draw.y(top)
    width, height = each.width_m * 1000 / SCALE, draw.y(end) - y
    yield f'<g class="piece" data-number="{number}">'
    yield f"<title>{escape(_whole_name(draw, number, each))}</title>"
    yield _rectangle(x, y, width, height, PAPER, 0.0)
    yield _rectangle(x, y, width, height, SKY, 0.45, opacity=0.16)
    if each.turned:
        yield from _turn_arrow(draw, x, y, width, height)
    yield from _labels(_texts(draw, number, each), x, y, width, height)
    yield "</g>"


def _whole_name(draw: _Drawing, number: int, each: Placed) -> str:
    turned = ", turned" if each.turned else ""
    size = draw.tape.size(each.length_m, each.width_m)
    return f"{number} {typed(each.piece.name)}: {size} (along × across){turned}"


def _texts(draw: _Drawing, number: int, each: Placed) -> list[str]:
    """What is written on a piece, the most needed first."""
    size = f"{draw.tape.read(each.length_m)} × {draw.tape.read(each.width_m)}"
    name = typed(each.piece.name) + (" (turned)" if each.turned else "")
    owner = [typed(each.piece.owner)] if each.piece.owner else []
    return [str(number), name, size, *owner]


def _turn_arrow(draw: _Drawing, x: float, y: float, width: float, height: float) -> Iterator[str]:
    """The length of a turned piece runs across: an arrow along its far edge says so."""
    if width < 8 or height < 4:
        return
    at = y + height - 1.4
    yield (
        f'<path class="turned" d="M{x + 1.5:.2f} {at:.2f}H{x + width - 1.5:.2f}" stroke="{INK}" '
        f'stroke-width="0.3" marker-start="url(#{draw.key}-head)" '
        f'marker-end="url(#{draw.key}-head)" fill="none"/>'
    )


def _labels(texts: Sequence[str], x: float, y: float, width: float, height: float) -> Iterator[str]:
    """As many lines as the piece has room for, upright, else along its long side."""
    upright = _fitting(texts, width - 1, height - 1)
    lying = _fitting(texts, height - 1, width - 1)
    turn = len(lying) > len(upright)
    lines = lying if turn else upright
    middle_x, middle_y = x + width / 2, y + height / 2
    heights = [size * _LINE for _, size in lines]
    at = middle_y - sum(heights) / 2
    around = f' transform="rotate(-90 {middle_x:.2f} {middle_y:.2f})"' if turn else ""
    for at_line, (text, size) in enumerate(lines):
        base = at + sum(heights[:at_line]) + size * 1.0
        weight = ' font-weight="700"' if at_line == 0 else ""
        yield (
            f'<text x="{middle_x:.2f}" y="{base:.2f}" font-size="{size:.2f}" text-anchor="middle"'
            f'{weight} fill="{INK}"{around}>{escape(text)}</text>'
        )


def _fitting(texts: Sequence[str], width: float, height: float) -> list[tuple[str, float]]:
    """The texts that fit into a box one under the other, with their heights. [mm]

    Not all: number and size; else both in one line; else the number alone, as large as it can be.
    """
    for small in (_SMALL, _TINY):
        sizes = [_BIG, *[small] * (len(texts) - 1)]
        stacks = [
            *(list(zip(texts[:count], sizes, strict=False)) for count in range(len(texts), 1, -1)),
            [(texts[0], _BIG), (texts[2], small)],
            [(" · ".join(texts[:3]), small)],
            [(f"{texts[0]} · {texts[2]}", small)],
        ]
        for stack in stacks:
            room = sum(size * _LINE for _, size in stack) <= height
            if room and all(_text_width(text, size) <= width for text, size in stack):
                return stack
    size = min(_BIG, max(height, 1.0) / _LINE, max(width, 1.0) / (_LETTER * len(texts[0])))
    return [(texts[0], size)]


def _text_width(text: str, size: float) -> float:
    return _LETTER * size * len(text)


def _left(draw: _Drawing) -> Iterator[str]:
    """The letter and the size of what is left over, on a plain ground."""
    for rest in left_over(draw.pull):
        top, end = max(rest.along_m, draw.first_m), min(rest.along_m + rest.length_m, draw.last_m)
        if end - top < LEAST_SIDE_M:
            continue
        x, y = draw.x(rest.across_m), draw.y(top)
        width, height = rest.width_m * 1000 / SCALE, draw.y(end) - y
        yield (
            f'<rect class="left-over" x="{x + 0.5:.2f}" y="{y + 0.5:.2f}" width="{width - 1:.2f}" '
            f'height="{height - 1:.2f}" fill="none" stroke="{SOFT_INK}" stroke-width="0.25" '
            'stroke-dasharray="1.5 1"/>'
        )
        size = f"{draw.tape.read(rest.length_m)} × {draw.tape.read(rest.width_m)}"
        for text in (f"{rest.letter}: left over {size}", f"{rest.letter} {size}", rest.letter):
            lies = _text_width(text, _SMALL) + 2
            if lies <= width - 1 or lies <= height - 1:
                yield _ground(text, x + width / 2, y + height / 2, turn=lies > width - 1)
                break


def _ground(text: str, x: float, y: float, *, turn: bool) -> str:
    width = _text_width(text, _SMALL) + 1.6
    around = f' transform="rotate(-90 {x:.2f} {y:.2f})"' if turn else ""
    return (
        f"<g{around}>"
        f'<rect x="{x - width / 2:.2f}" y="{y - 2.1:.2f}" width="{width:.2f}" height="4.2" '
        f'fill="{PAPER}"/><text x="{x:.2f}" y="{y + 0.95:.2f}" font-size="{_SMALL}" '
        f'text-anchor="middle" font-style="italic" fill="{INK}">{escape(text)}</text></g>'
    )


def _rulers(draw: _Drawing) -> Iterator[str]:
    """Rulers across and along, with numbers in the tape's unit."""
    tape, steps = draw.tape, _TICKS_M["in" if draw.tape.is_inches else "metric"]
    small, _, _ = steps
    ends = (0.0, draw.pull.sheet.width_m), (draw.first_m, draw.last_m)
    for (first, last), is_across in zip(ends, (True, False), strict=True):
        path = []
        for at in range(math.ceil(first / small - 1e-6), math.floor(last / small + 1e-6) + 1):
            rank = sum(_is_on(at * small, step) for step in steps)
            size = (0.0, 1.0, 1.8, 2.6)[rank]
            where = draw.x(at * small) if is_across else draw.y(at * small)
            edge = _TOP if is_across else _LEFT
            path.append(
                f"M{where:.2f} {edge:.2f}v{-size}" if is_across else f"M{edge} {where:.2f}h{-size}"
            )
            if rank == 3:
                yield _number(tape.tick(at * small), where, is_across)
        yield f'<path class="ruler" d="{"".join(path)}" stroke="{INK}" stroke-width="0.18"/>'
    yield (
        f'<text x="1" y="4" font-size="{_SMALL}" fill="{SOFT_INK}">{escape(tape.unit)}, 1 : '
        f"{SCALE:.0f}</text>"
    )


def _is_on(value: float, step: float) -> bool:
    return abs(value / step - round(value / step)) < 1e-6


def _number(text: str, where: float, is_across: bool) -> str:
    x, y, anchor = (where, _TOP - 3.2, "middle") if is_across else (_LEFT - 3.2, where + 0.9, "end")
    return (
        f'<text class="tick" x="{x:.2f}" y="{y:.2f}" font-size="2.5" text-anchor="{anchor}" '
        f'fill="{INK}">{escape(text)}</text>'
    )


def _cut_lines(draw: _Drawing) -> Iterator[str]:
    """Where the pull starts and is cut off, and at the right where pieces end."""
    pull, tape = draw.pull, draw.tape
    right = _LEFT + draw.width
    is_start, is_end = draw.first_m <= 0, draw.last_m >= pull.length_m - LEAST_LENGTH
    start = "start" if is_start else f"goes on from {tape.read(draw.first_m)}"
    verb = "end of the offcut" if pull.sheet.is_offcut else "cut off"
    end = f"{verb} at {tape.read(tape.covering(pull.length_m))} {tape.unit}"
    end = end if is_end else f"goes on at {tape.read(draw.last_m)} {tape.unit}"
    yield _line(_LEFT, _TOP, right, _TOP, 0.7, dashed=not is_start)
    yield _line(_LEFT, _TOP + draw.height, right, _TOP + draw.height, 0.7, dashed=not is_end)
    yield _line(_LEFT, _TOP, _LEFT, _TOP + draw.height, 0.5)
    yield _line(right, _TOP, right, _TOP + draw.height, 0.5)
    yield _caption(start, _LEFT + draw.width / 2, 4.0)
    yield _caption(end, _LEFT + draw.width / 2, _TOP + draw.height + 4.5)
    last = -math.inf
    for at in edges([draw.first_m, *(each.along_m + each.length_m for each in pull.placed)]):
        where = draw.y(float(at))
        inside = draw.first_m + LEAST_LENGTH < at <= draw.last_m + LEAST_LENGTH
        if inside and where - last >= _SMALL:
            yield _line(right, where, right + 2, where, 0.25)
            yield (
                f'<text class="cut-at" x="{right + 2.4:.2f}" y="{where + 0.9:.2f}" font-size="2.5" '
                f'fill="{INK}">{escape(tape.read(float(at)))}</text>'
            )
            last = where


def _caption(text: str, x: float, y: float) -> str:
    return (
        f'<text x="{x:.2f}" y="{y:.2f}" font-size="{_SMALL}" text-anchor="middle" '
        f'font-weight="600" fill="{INK}">{escape(text)}</text>'
    )


def _line(
    x: float, y: float, to_x: float, to_y: float, width: float, *, dashed: bool = False
) -> str:
    dash = ' stroke-dasharray="2 1.2"' if dashed else ""
    return (
        f'<path d="M{x:.2f} {y:.2f}L{to_x:.2f} {to_y:.2f}" stroke="{INK}" '
        f'stroke-width="{width}"{dash} fill="none"/>'
    )


def _rectangle(
    x: float, y: float, width: float, height: float, fill: str, line: float, opacity: float = 1.0
) -> str:
    stroke = f' stroke="{INK}" stroke-width="{line}"' if line else ""
    return (
        f'<rect x="{x:.2f}" y="{y:.2f}" width="{width:.2f}" height="{height:.2f}" fill="{fill}"'
        f' fill-opacity="{opacity:g}"{stroke}/>'
    )
