"""Figures about quotes: the hours to quote next time, and whether quotes hold as promised."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from analysis.findings.backtest import METHODS
from analysis.findings.evidence import wilson_interval
from analysis.locale_text import counted
from analysis.report.grids import (
    Cell,
    FigureInfo,
    Grid,
    Heading,
    RowsInfo,
    number,
    plain_grid,
    slices_of,
)
from analysis.report.look import (
    BLUE,
    GAIN,
    INK,
    SOFT_INK,
    TOTAL,
    Panel,
    alternative,
    chart_names,
    finish,
    nothing,
    rows_figure,
)
from analysis.report.numbers import Numbers, label
from analysis.report.results import Review
from analysis.report.vehicles import KEYS, basis, extended, model_names, ranked_models
from analysis.result_tables import RESULT_TABLES
from analysis.schema import Column, Kind

THIS_QUOTE, *_, SHOPS_QUOTE = METHODS
MOST_ROWS: Final = 25
_OF_FLAGGED: Final = 15
_LEVELS: Final = (50, 70, 80, 90)
_SIZE: Final = 340
_VEHICLE: Final = Column("vehicle", Kind.TEXT, "Make and model.")
_ADD: Final = Column("add_hours", Kind.HOURS, "Hours to quote − usual hours.")
_LONGER: Final = Column("quote_longer", Kind.YES_NO, "Whether the model is flagged.")
_COLUMNS: Final = (
    "service",
    "vehicle",
    "hours_to_quote",
    "usual_hours",
    "add_hours",
    "jobs",
    "expected_hours",
    "low_hours",
    "high_hours",
    "quote_longer",
    "vehicle_class",
)


@dataclass(frozen=True, eq=False, kw_only=True)
class QuotesInfo(FigureInfo):
    """The hours of the next quotes; `rows` are how many pairs the workbook holds."""

    rows: int = 0


@dataclass(frozen=True, eq=False, kw_only=True)
class CalibrationInfo(FigureInfo):
    """Share of jobs promised and share that held, with 90 % intervals [percent].

    `promised` and `held` are of this way of quoting; `confidence_pct` what the shop asks for,
    `confidence_held_pct` what held of it, `own_held_pct` of the shop's own quotes.
    """

    jobs: int = 0
    promised: tuple[float, ...] = ()
    held: tuple[float, ...] = ()
    lows: tuple[float, ...] = ()
    highs: tuple[float, ...] = ()
    confidence_pct: float = float("nan")
    confidence_held_pct: float = float("nan")
    own_held_pct: float = float("nan")
    separators: str = ".,"


@dataclass(frozen=True, eq=False, kw_only=True)
class LossesInfo(RowsInfo):
    """Mean pinball loss of each way of quoting [h], least first."""

    losses: tuple[float, ...] = ()
    texts: tuple[str, ...] = ()


def gather_quotes(review: Review) -> QuotesInfo:
    """Hours to quote next time: the flagged models' pairs, and the pairs that come most often."""
    found = slices_of(review, "next_quotes")
    if found.line:
        return QuotesInfo(title="Hours for the next quote", line=found.line)
    say = Numbers(review.settings)
    frame = _with_flag(found.quarter, review)
    shown = _shown(frame)
    confidence = say.percent(100 * review.settings.quoting.confidence)
    table = extended("next_quotes", _VEHICLE, _ADD, _LONGER)
    caption = "Hours to quote next time"
    grid = plain_grid(review, table, shown, _COLUMNS, caption=caption, names=2)
    return QuotesInfo(
        title=_quotes_title(shown, confidence, say),
        grids=(grid,),
        note=f"{basis(review)} Hours to quote are those inside which {confidence} of such jobs "
        "finish (quoting.confidence in shop.toml); from and to hold nine of ten. First the models "
        "to quote longer, then what comes most often, of each the pairs done most; "
        f"{counted(len(frame), 'pair')} stand in the workbook.",
        rows=len(frame),
    )


def gather_calibration(review: Review) -> CalibrationInfo:
    """Whether past jobs, quoted again beforehand, finished inside as often as promised."""
    found = slices_of(review, "quote_calibration")
    title = "Whether quotes hold as promised"
    if found.line:
        return CalibrationInfo(title=title, line=found.line)
    frame = found.quarter
    ours = frame[frame["method"] == THIS_QUOTE]
    known = ours[[f"inside_{level}_pct" for level in _LEVELS]].notna().all(axis=None)
    if ours.empty or not known:
        line = "No past job was quoted again, so how often quotes hold is not known."
        return CalibrationInfo(title=title, line=line)
    say = Numbers(review.settings)
    jobs = int(ours["jobs"].iloc[0])
    held = pd.Series([float(ours[f"inside_{level}_pct"].iloc[0]) for level in _LEVELS])
    low, high = wilson_interval(held / 100 * jobs, pd.Series(jobs, index=held.index))
    confidence = 100 * review.settings.quoting.confidence
    at_confidence = float(ours["share_inside_pct"].iloc[0])
    texts = [
        f"{say.percent(share, 1)} held ({say.percent_range(100 * a, 100 * b)})"
        for share, a, b in zip(held, low, high, strict=True)
    ]
    names = [f"{say.percent(level)} promised" for level in _LEVELS]
    return CalibrationInfo(
        title=f"Quotes for {say.percent(confidence)} of jobs held for {say.percent(at_confidence)}",
        alternative=alternative("Dots against a diagonal", "promised and held", names, texts),
        grids=(_calibration_grid(held, low, high, jobs, say),),
        note=f"{counted(jobs, 'job')} of two years, each quoted again from what was known before "
        "its month. On the diagonal, quotes hold just as often as promised; under it they are too "
        "short, over it longer than they need be. The lines are 90 % Wilson intervals.",
        jobs=jobs,
        promised=tuple(float(level) for level in _LEVELS),
        held=tuple(held),
        lows=tuple(100 * low),
        highs=tuple(100 * high),
        confidence_pct=confidence,
        confidence_held_pct=at_confidence,
        own_held_pct=held_by_shop(frame),
        separators=say.separators,
    )


def draw_calibration(info: CalibrationInfo) -> go.Figure:
    """Dots of the share that held over the share promised, and the diagonal."""
    if info.line:
        return nothing(info.title, info.line)
    fig = go.Figure()
    fig.add_scatter(
        x=[40, 100],
        y=[40, 100],
        mode="lines",
        name="as promised",
        line={"color": SOFT_INK, "width": 1, "dash": "dash"},
        hoverinfo="skip",
    )
    fig.add_scatter(
        x=list(info.promised),
        y=list(info.held),
        mode="markers",
        name="held",
        marker={"size": 10, "color": BLUE, "line": {"color": INK, "width": 1}},
        error_y={
            "type": "data",
            "symmetric": False,
            "array": [high - held for high, held in zip(info.highs, info.held, strict=True)],
            "arrayminus": [held - low for low, held in zip(info.lows, info.held, strict=True)],
            "color": INK,
            "thickness": 1.5,
        },
        hovertemplate="promised %{x:.0f} %, held %{y:.1f} %<extra></extra>",
    )
    fig.add_scatter(
        x=[info.confidence_pct],
        y=[info.own_held_pct],
        mode="markers",
        name="the shop's own quotes",
        marker={"size": 11, "symbol": "x", "color": INK},
        hovertemplate="the shop's own quotes: held %{y:.1f} %<extra></extra>",
    )
    finish(fig, title=info.title, separators=info.separators, height=_SIZE, head=46)
    fig.update_layout(showlegend=True, margin_l=52)
    fig.update_xaxes(title_text="Promised: share of jobs, %", range=[40, 100], dtick=10)
    least = min(40.0, *info.lows, info.own_held_pct - 4)
    return fig.update_yaxes(title_text="Held: share of jobs, %", range=[least, 100], dtick=10)


def gather_losses(review: Review) -> LossesInfo:
    """What each way of quoting loses: five methods on the same past jobs."""
    found = slices_of(review, "quote_calibration")
    title = "What each way of quoting loses"
    if found.line:
        return LossesInfo(title=title, line=found.line)
    say = Numbers(review.settings)
    frame = found.quarter[number(found.quarter, "pinball_loss").notna()]
    if frame.empty:
        line = "No past job was quoted again, so what a way of quoting loses is not known."
        return LossesInfo(title=title, line=line)
    frame = frame.sort_values("pinball_loss", kind="stable")
    names = [label(each) for each in frame["method"]]
    texts = [
        f"{say.number(loss, 2)} h a quote, {say.percent(held)} held"
        for loss, held in zip(
            number(frame, "pinball_loss"), number(frame, "share_inside_pct"), strict=True
        )
    ]
    share = review.settings.quoting.confidence
    return LossesInfo(
        title=_losses_title(frame, say),
        alternative=alternative("Bar chart", "hours lost by way of quoting", names, texts),
        grids=(_losses_grid(frame, names, say),),
        note="Hours lost count an hour short as "
        f"{say.number(share, 2)} and an hour spare as {say.number(1 - share, 2)}: the weights that "
        f"a promise of {say.percent(100 * share)} sets (pinball loss). All on the same past jobs, "
        "each from what was known before; only this quote is made for that promise.",
        names=tuple(names),
        few=(False,) * len(names),
        unit="h",
        separators=say.separators,
        losses=tuple(number(frame, "pinball_loss")),
        texts=tuple(texts),
    )


def draw_losses(info: LossesInfo) -> go.Figure:
    """Bars of the hours lost; this quote's is hued, the others grey."""
    if info.line:
        return nothing(info.title, info.line)
    looks = [GAIN if name == THIS_QUOTE else TOTAL for name in info.names]
    panel = Panel(info.losses, info.texts, looks, "Hours lost a quote")
    names = chart_names(info.names, info.few)
    return rows_figure(names, [panel], title=info.title, separators=info.separators)


def held_by_shop(frame: pd.DataFrame) -> float:
    """Share of the shop's own quotes that held, in percent; NaN where it is not known."""
    own = number(frame[frame["method"] == SHOPS_QUOTE], "share_inside_pct")
    return float(own.iloc[0]) if len(own) else float("nan")


def hours_to_add(review: Review) -> tuple[float, int]:
    """Share by which quotes must grow for the confidence [percent], and how many pairs it is of.

    Σ (hours to quote × jobs) ÷ Σ (usual hours × jobs) − 1 over the pairs done so far; NaN without.
    """
    found = slices_of(review, "next_quotes").quarter
    jobs, usual = number(found, "jobs"), number(found, "usual_hours")
    wanted = number(found, "hours_to_quote")
    known = usual.notna() & wanted.notna() & (usual > 0)
    total = float((usual * jobs)[known].sum())
    if not total:
        return float("nan"), 0
    return 100 * (float((wanted * jobs)[known].sum()) / total - 1), int(known.sum())


def _with_flag(quotes: pd.DataFrame, review: Review) -> pd.DataFrame:
    """The quotes, with whether and in which place their model is flagged."""
    flagged = ranked_models(review).flagged[KEYS]
    place = flagged.assign(place=np.arange(len(flagged), dtype=np.float64))
    frame = quotes.merge(place, on=KEYS, how="left", validate="many_to_one")
    return frame.assign(
        quote_longer=frame["place"].notna().astype("boolean"),
        vehicle=model_names(frame),
        add_hours=number(frame, "hours_to_quote") - number(frame, "usual_hours"),
    )


def _shown(frame: pd.DataFrame) -> pd.DataFrame:
    """The pairs of the flagged models that were done most, then of all others."""
    often = frame.sort_values("jobs", ascending=False, kind="stable")
    longer = often[often["quote_longer"].astype(bool)].head(_OF_FLAGGED)
    longer = longer.sort_values(["place", "jobs"], ascending=[True, False], kind="stable")
    others = often[~often["quote_longer"].astype(bool)].head(MOST_ROWS - len(longer))
    return pd.concat([longer, others], ignore_index=True)


def _quotes_title(shown: pd.DataFrame, confidence: str, say: Numbers) -> str:
    first = shown.iloc[0]
    name = f"{label(first['service'])} on {model_names(shown.head(1))[0]}"
    usual = say.hours(first["usual_hours"])
    return (
        f"To hold for {confidence} of jobs: {name} {say.hours(first['hours_to_quote'])}, "
        f"where the shop counts on {usual}"
    )


def _calibration_grid(
    held: pd.Series, low: pd.Series, high: pd.Series, jobs: int, say: Numbers
) -> Grid:
    columns = [held, 100 * low, 100 * high]
    rows = tuple(
        (
            Cell(say.number(level)),
            Cell(say.number(jobs)),
            *(Cell(say.number(float(column.iloc[at]), 1)) for column in columns),
        )
        for at, level in enumerate(_LEVELS)
    )
    headings = (
        Heading(
            "Promised", "%", "Share of jobs that the hours were promised for.", is_number=False
        ),
        Heading("Jobs", "", "Job lines quoted again."),
        Heading("Held", "%", "Jobs that finished inside the hours."),
        Heading("From", "%", "Lower end of the 90 % Wilson interval."),
        Heading("To", "%", "Upper end of the 90 % Wilson interval."),
    )
    return Grid("Promised and held", 1, (), headings, rows)


def _losses_grid(frame: pd.DataFrame, names: list[str], say: Numbers) -> Grid:
    rows = tuple(
        (
            Cell(name),
            Cell(say.number(row["jobs"])),
            Cell(say.number(row["share_inside_pct"], 1)),
            Cell(say.number(row["pinball_loss"], 2)),
        )
        for name, row in zip(names, frame.to_dict("records"), strict=True)
    )
    table = RESULT_TABLES["quote_calibration"]
    headings = (
        Heading("Method", "", table.column("method").sentence, is_number=False),
        Heading("Jobs", "", table.column("jobs").sentence),
        Heading("Held", "%", table.column("share_inside_pct").sentence),
        Heading("Hours lost a quote", "h", table.column("pinball_loss").sentence),
    )
    return Grid("Five ways of quoting", 1, (), headings, rows)


def _losses_title(frame: pd.DataFrame, say: Numbers) -> str:
    loss = dict(zip(frame["method"], number(frame, "pinball_loss"), strict=True))
    if THIS_QUOTE not in loss or SHOPS_QUOTE not in loss:
        return f"Least is lost by {label(frame['method'].iloc[0])}"
    return (
        f"Hours lost a quote: {say.number(loss[THIS_QUOTE], 2)} h against "
        f"{say.number(loss[SHOPS_QUOTE], 2)} h of the shop's own quotes"
    )
