"""Tables in notebooks: the grids of the report, shown as text and as HTML."""

from dataclasses import dataclass

from markupsafe import Markup, escape

from analysis.glossary import glossary_entries
from analysis.records.model import DOUBTFUL, REJECTED
from analysis.report.cautions import CAUTIONS, DEFER
from analysis.report.decisions_to_take import decisions_grid
from analysis.report.example_layout import gather_example, sentence_svg
from analysis.report.grids import Cell, FigureInfo, Grid, Heading, number
from analysis.report.numbers import typed
from analysis.report.page_records import findings_grid, sources_grid
from analysis.report.results import Review
from analysis.report.sentences import answers
from analysis.report.vehicles import ranked_models

_FEW = "few"


@dataclass(frozen=True)
class Shown:
    """A grid that a notebook shows: as HTML where it can, as aligned text elsewhere."""

    grid: Grid

    def __repr__(self) -> str:
        grid = self.grid
        rows = [[_text(cell) for cell in row] for row in grid.rows]
        bands = [band.text for band in grid.bands for _ in range(band.width)]
        heads = [_heading(heading) for heading in grid.headings]
        lines = [heads, *rows] if not any(bands) else [bands, heads, *rows]
        if not heads:
            return grid.caption
        widths = [max(len(line[at]) for line in lines) for at in range(len(heads))]
        right = [heading.is_number for heading in grid.headings]
        return "\n".join([grid.caption, *(_aligned(line, widths, right) for line in lines)])

    def _repr_html_(self) -> str:
        grid = self.grid
        if not grid.headings:
            return Markup("<p>{}</p>").format(_no_formula(grid.caption))
        bands = "".join(
            Markup('<th colspan="{}">{}</th>').format(band.width, band.text) for band in grid.bands
        )
        heads = "".join(
            Markup('<th style="text-align:{}" title="{}">{}</th>').format(
                _side(heading), heading.sentence, _heading(heading)
            )
            for heading in grid.headings
        )
        body = "".join(
            "<tr>" + "".join(map(_html, row, grid.headings)) + "</tr>" for row in grid.rows
        )
        top = f"<tr>{bands}</tr>" if bands else ""
        note = Markup("<p><small>{}</small></p>").format(grid.note) if grid.note else ""
        return (
            '<div style="overflow-x:auto">'
            f"<table><caption>{escape(grid.caption)}</caption><thead>{top}<tr>{heads}</tr></thead>"
            f"<tbody>{body}</tbody></table></div>{note}"
        )


def table(info: FigureInfo | Review, number: int = 0) -> Shown:
    """The table of numbers under a figure (the first one, unless another is asked for)."""
    if isinstance(info, Review):
        raise TypeError("table() shows the numbers of a figure; gather one from the review first")
    if info.line and not info.grids:
        return Shown(Grid(info.line, 1, (), (), ()))
    return Shown(info.grids[number])


def summary(review: Review) -> Shown:
    """The questions of an owner, each with its answer in a sentence."""
    rows = tuple((Cell(each.question), Cell(each.line)) for each in answers(review))
    headings = (Heading("Question", is_number=False), Heading("Answer", is_number=False))
    return Shown(Grid(review.quarter.spelled, 1, (), headings, rows))


@dataclass(frozen=True)
class Picture:
    """A picture that a notebook shows; as text, its words."""

    words: str
    svg: str

    def __repr__(self) -> str:
        return self.words

    def _repr_svg_(self) -> str:
        return self.svg


@dataclass(frozen=True)
class LayoutExample:
    """A real job's film, as it was cut and as it could have been."""

    before: Picture
    after: Picture


def layout_example(review: Review) -> LayoutExample:
    """The job of the quarter that a better layout would have saved most.

    Where there is none, both pictures are the sentence that says why.
    """
    info = gather_example(review)
    pictures = [Picture(words, svg) for words, svg in info.pictures]
    if not pictures:
        pictures = [Picture(info.line, sentence_svg(info.line))] * 2
    return LayoutExample(*pictures)


def chosen_model(review: Review) -> tuple[str, str]:
    """Make and model to look into first: of the flagged the one that cost most in twelve months.

    Where none is flagged, or no cost is known: the likeliest to run over. Raises `ValueError`,
    with the reason, where nothing could be estimated.
    """
    models = ranked_models(review)
    if models.line:
        raise ValueError(models.line)
    chosen = models.flagged if len(models.flagged) else models.frame.head(1)
    cost = number(chosen, "overrun_cost_year").fillna(-float("inf"))
    row = chosen.loc[cost.sort_values(ascending=False, kind="stable").index[0]]
    return str(row["make"]), str(row["model"])


def rows_read(review: Review) -> Shown:
    """Rows read, used and left out of every table."""
    return Shown(sources_grid(review))


def findings(review: Review) -> Shown:
    """What the check found, grouped by rule."""
    return Shown(findings_grid(review))


def worst_findings(review: Review, most: int = 12) -> Shown:
    """Single findings to mend first: rows left out before doubtful ones."""
    frame = review.records.findings
    order = frame["severity"].map({REJECTED: 0, DOUBTFUL: 1})
    chosen = frame.loc[order.sort_values(kind="stable").index].head(most)
    names = ("file", "row", "column", "value", "problem", "remedy")
    rows = tuple(
        tuple(Cell(typed(row[name])) for name in names) for row in chosen.to_dict("records")
    )
    headings = tuple(Heading(name.capitalize(), is_number=False) for name in names)
    return Shown(Grid("What to mend first", 1, (), headings, rows))


def cautions() -> Shown:
    """What to mind where the work, or what is made of these figures, can hurt someone."""
    rows = tuple((Cell(what), Cell(text)) for what, text in CAUTIONS)
    headings = (Heading("Mind", is_number=False), Heading("Usual caution", is_number=False))
    return Shown(Grid("Cautions", 1, (), headings, rows, DEFER))


def decisions(review: Review) -> Shown:
    """The decisions that the review leaves to its owner."""
    return Shown(decisions_grid(review))


def words() -> Shown:
    """The glossary: a row a meaning; of a word with several, the tables in which each holds."""
    rows = tuple(
        (
            Cell("" if at else each.term),
            Cell(text),
            Cell("; ".join(titles) if len(each.definitions) > 1 else ""),
        )
        for each in glossary_entries()
        for at, (text, titles) in enumerate(each.definitions)
    )
    headings = ("Word", "Meaning", "Where it means this")
    return Shown(
        Grid("Words", 1, (), tuple(Heading(each, is_number=False) for each in headings), rows)
    )


def _heading(heading: Heading) -> str:
    return f"{heading.text}, {heading.unit}" if heading.unit else heading.text


def _side(heading: Heading) -> str:
    return "right" if heading.is_number else "left"


def _text(cell: Cell) -> str:
    return f"{cell.text} ({_FEW})" if cell.says_few else cell.text


def _no_formula(text: str) -> Markup:
    """Text in which a notebook sees no formula: it takes what stands between two $ for one."""
    return Markup("<span>$</span>").join(text.split("$"))


def _html(cell: Cell, heading: Heading) -> str:
    grey = ";color:#6b6b6b;font-style:italic" if cell.is_few else ""
    text = _no_formula(_text(cell))
    if cell.is_prose:
        text = Markup('<span style="display:inline-block;min-width:20em">{}</span>').format(text)
    return Markup('<td style="text-align:{}{}">{}</td>').format(_side(heading), grey, text)


def _aligned(line: list[str], widths: list[int], right: list[bool]) -> str:
    cells = [
        text.rjust(width) if is_right else text.ljust(width)
        for text, width, is_right in zip(line, widths, right, strict=True)
    ]
    return "  ".join(cells).rstrip()
