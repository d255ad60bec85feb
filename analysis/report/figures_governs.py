"""Figures of what governs: how full the shop is, what an hour earns, and the best mix."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from analysis.errors import Unavailable
from analysis.findings.capacity_use import (
    BAYS,
    INSTALLERS,
    NOTHING,
    SHORT_FROM_SHARE,
    UNKNOWN,
    Governing,
    governing_in,
    spare_hours,
    why_short,
)
from analysis.findings.earning import ALL_SERVICES, GOVERNS
from analysis.locale_text import listed
from analysis.price_tables import BEST_MIX, EARNING_BY_SERVICE, UTILISATION_BY_MONTH
from analysis.report.grids import (
    FigureInfo,
    RowsInfo,
    few,
    labels_of,
    number,
    plain_grid,
    slices_of,
)
from analysis.report.look import (
    BLUE,
    GREY,
    INK,
    ORANGE,
    PAPER,
    SOFT_INK,
    VERMILION,
    alternative,
    chart_names,
    finish,
    nothing,
    plain,
    row_names,
    rows_axis,
    rows_figure,
    rows_height,
    signed_panel,
)
from analysis.report.numbers import Numbers, sentence_case
from analysis.report.results import Review
from analysis.schema import Table

_SHORT: Final = {BAYS: "the bays are short", INSTALLERS: "people's hours are short"}
# Services whose gain is under this are not named. [money]
_NO_MIX: Final = (
    "Nothing is short for the next quarter, so no service has to make room for another: every job "
    "that leaves something is worth taking, and no mix is weighed."
)
_NO_GAIN: Final = 0.5


@dataclass(frozen=True, eq=False, kw_only=True)
class UseInfo(FigureInfo):
    """Use of people's and of bay hours by month, the oldest first [percent]."""

    constraint: str = UNKNOWN
    months: tuple[pd.Timestamp, ...] = ()
    installer_use_pct: tuple[float, ...] = ()
    bay_use_pct: tuple[float, ...] = ()
    limit_pct: float = 100 * SHORT_FROM_SHARE
    separators: str = ".,"


@dataclass(frozen=True, eq=False, kw_only=True)
class EarningInfo(RowsInfo):
    """Services by what an hour leaves and by contribution [money / h, percent], the best first.

    `governs` is one of the words of `earning.GOVERNS`; rows are ranked by it. The hour is that of
    people where they are short, else that of the bays.
    """

    governs: str = GOVERNS[UNKNOWN]
    hour: str = "bay hour"
    per_hour: tuple[float, ...] = ()
    contribution_pct: tuple[float, ...] = ()
    hour_texts: tuple[str, ...] = ()
    contribution_texts: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False, kw_only=True)
class MixInfo(RowsInfo):
    """Jobs of each service now and in the best mix, most gain first; `gain` of all [money]."""

    jobs: tuple[float, ...] = ()
    best_jobs: tuple[float, ...] = ()
    texts: tuple[str, ...] = ()
    gain: float = np.nan


def governing_now(review: Review) -> Governing:
    """Which hours are short for the next quarter, by the one rule of `capacity_use`."""
    return governing_in(_months(review), review.quarter)


def _months(review: Review) -> pd.DataFrame | Unavailable:
    none = Unavailable(UTILISATION_BY_MONTH.name, ("capacity", "hours"), "")
    return review.results.get(UTILISATION_BY_MONTH.name, none)


def gather_use(review: Review) -> UseInfo:
    """How full the shop was, month by month, and what is short for the next quarter."""
    found = slices_of(review, UTILISATION_BY_MONTH.name)
    title = "How full the shop is"
    if found.line:
        return UseInfo(title=title, line=found.line)
    say, governing = Numbers(review.settings), governing_now(review)
    frame = found.quarter
    newest_first = frame.sort_values("month", ascending=False, kind="stable")
    grid = plain_grid(
        review, found.table, newest_first, found.table.names, caption="Use by month, newest first"
    )
    people, bays = number(frame, "installer_use_pct"), number(frame, "bay_use_pct")
    if people.isna().all() and bays.isna().all():
        return UseInfo(title=title, line=why_short(governing, review.settings), grids=(grid,))
    names = [f"{month:%Y-%m}" for month in newest_first["month"]]
    at = newest_first.index
    texts = [
        f"people {say.percent(one)}, bays {say.percent(other)}"
        for one, other in zip(people[at], bays[at], strict=True)
    ]
    return UseInfo(
        title=_use_title(governing, say),
        alternative=alternative(
            "Line chart of two lines", "use of people's and of bay hours by month", names, texts
        ),
        grids=(grid,),
        note=f"{why_short(governing, review.settings)} {_unused(review, frame, say)}".strip(),
        constraint=governing.constraint,
        months=tuple(frame["month"]),
        installer_use_pct=tuple(people),
        bay_use_pct=tuple(bays),
        separators=say.separators,
    )


def draw_use(info: UseInfo) -> go.Figure:
    """Two lines over the months, told apart by stroke and mark, and the line hours are short at."""
    if info.line:
        return nothing(info.title, info.line)
    fig = go.Figure()
    looks = (
        ("People's hours", info.installer_use_pct, BLUE, "circle", "solid"),
        ("Bay hours", info.bay_use_pct, ORANGE, "square", "dash"),
    )
    for name, values, colour, symbol, dash in looks:
        if all(np.isnan(value) for value in values):
            continue
        fig.add_scatter(
            x=[f"{month:%Y-%m-%d}" for month in info.months],
            y=list(values),
            name=name,
            mode="lines+markers",
            line={"color": colour, "width": 2, "dash": dash},
            marker={"symbol": symbol, "size": 8, "line": {"width": 0.7, "color": INK}},
            hovertemplate=f"{name}, %{{x|%Y-%m}}: %{{y:.0f}} %<extra></extra>",
        )
    fig.add_hline(
        y=info.limit_pct,
        line={"color": SOFT_INK, "width": 1, "dash": "dot"},
        # Right of the plot, where no line of the data runs.
        annotation_text=f"short<br>from<br>{info.limit_pct:.0f} %",
        annotation_font={"color": SOFT_INK, "size": 12},
        annotation_align="left",
        annotation_position="right",
    )
    finish(fig, title=info.title, separators=info.separators, height=340, head=28)
    known = [each for each in (*info.installer_use_pct, *info.bay_use_pct) if not np.isnan(each)]
    top = max(100.0, info.limit_pct, *known) * 1.06
    fig.update_layout(showlegend=True, margin_l=52, margin_r=38)
    fig.update_yaxes(title_text="% of the hours that there were", range=[0, top])
    fig.update_xaxes(type="date", tickformat="%Y-%m", tickangle=0, nticks=5, tickfont_size=11)
    return fig.update_xaxes(showgrid=False, title_text="Month")


def gather_earning(review: Review) -> EarningInfo:
    """Services of twelve months, ranked by what governs: an hour of what is short, if any."""
    found = slices_of(review, EARNING_BY_SERVICE.name)
    if found.line:
        return EarningInfo(title="Services ranked", line=found.line)
    say, governing = Numbers(review.settings), governing_now(review)
    constraint = governing.constraint
    rank = "rank_when_idle" if constraint == NOTHING else "rank_when_full"
    frame = found.quarter.sort_values(rank, na_position="last", kind="stable", ignore_index=True)
    hour = "installer hour" if constraint == INSTALLERS else "bay hour"
    per_hour = number(frame, "per_installer_hour" if constraint == INSTALLERS else "per_bay_hour")
    names, columns = labels_of(frame, found.table), _columns(found.table)
    grid = plain_grid(review, found.table, frame, columns, caption="What an hour earns")
    hour_texts = [say.money(each) for each in per_hour]
    shares = [say.percent(each) for each in number(frame, "contribution_pct")]
    told = f"So services are ranked {GOVERNS[constraint]}."
    if constraint == UNKNOWN:
        told = "Ranked by the bay hour until then."
    return EarningInfo(
        title=_earning_title(frame, names, constraint, hour),
        alternative=alternative(
            "Two bar charts side by side",
            f"material margin per {hour}, and contribution in percent of net revenue",
            names,
            [f"{hour} an hour, {share}" for hour, share in zip(hour_texts, shares, strict=True)],
        ),
        grids=(grid,),
        note=f"{why_short(governing, review.settings)} {told}",
        names=tuple(names),
        few=tuple(few(frame)),
        unit=f"{say.settings.currency} / {hour}",
        separators=say.separators,
        governs=GOVERNS[constraint],
        hour=hour,
        per_hour=tuple(per_hour),
        contribution_pct=tuple(number(frame, "contribution_pct")),
        hour_texts=tuple(hour_texts),
        contribution_texts=tuple(shares),
    )


def draw_earning(info: EarningInfo) -> go.Figure:
    """Two columns of bars beside the same services."""
    if info.line:
        return nothing(info.title, info.line)
    share, texts = info.contribution_pct, info.contribution_texts
    panels = [
        signed_panel(info.per_hour, info.hour_texts, info.few, info.unit, "An hour"),
        signed_panel(share, texts, info.few, "% of net revenue", "Contribution"),
    ]
    names = chart_names(info.names, info.few)
    return rows_figure(names, panels, title=info.title, separators=info.separators)


def gather_mix(review: Review) -> MixInfo:
    """Jobs of each service now and in the mix that would leave most in the hours there are."""
    found = slices_of(review, BEST_MIX.name)
    if found.line:
        return MixInfo(title="What another mix would earn", line=found.line)
    if governing_now(review).constraint == NOTHING:
        return MixInfo(title="What another mix would earn", line=_NO_MIX)
    say = Numbers(review.settings)
    is_total = found.quarter["service"] == ALL_SERVICES
    frame, total = found.quarter[~is_total], found.quarter[is_total]
    gain = float(number(total, "gain").sum()) if len(total) else np.nan
    hours, limits = _mix_limits(review, say)
    names, columns = labels_of(frame, found.table), _columns(found.table)
    grid = plain_grid(review, found.table, found.quarter, columns, caption="The best mix")
    jobs, best = number(frame, "jobs"), number(frame, "best_jobs")
    texts = [
        f"{say.number(now)} → {say.number(then)} jobs, {say.change(each)}"
        for now, then, each in zip(jobs, best, number(frame, "gain"), strict=True)
    ]
    return MixInfo(
        title=_mix_title(frame, names, gain, say, hours),
        alternative=alternative(
            "Dot chart of two dots a row", "jobs now and in the best mix", names, texts
        ),
        grids=(grid,),
        note=f"{limits} {_mix_note(frame, names)}",
        names=tuple(names),
        few=tuple(few(frame)),
        unit="jobs",
        separators=say.separators,
        jobs=tuple(jobs),
        best_jobs=tuple(best),
        texts=tuple(texts),
        gain=gain,
    )


def draw_mix(info: MixInfo) -> go.Figure:
    """An open circle at today's jobs, a diamond at the best, and a line from one to the other."""
    if info.line:
        return nothing(info.title, info.line)
    places = list(range(len(info.names)))
    fig = go.Figure()
    ends = zip(info.jobs, info.best_jobs, strict=True)
    fig.add_scatter(
        x=[each for now, then in ends for each in (now, then, None)],
        y=[each for at in places for each in (at, at, None)],
        mode="lines",
        line={"color": GREY, "width": 2},
        hoverinfo="skip",
        showlegend=False,
    )
    hover = [
        f"{plain(name)}: {plain(text)}" for name, text in zip(info.names, info.texts, strict=True)
    ]
    looks = (
        ("Twelve months", info.jobs, PAPER, "circle"),
        ("Best mix", info.best_jobs, VERMILION, "diamond"),
    )
    for name, values, colour, symbol in looks:
        fig.add_scatter(
            x=list(values),
            y=places,
            name=name,
            mode="markers",
            cliponaxis=False,
            marker={"color": colour, "symbol": symbol, "size": 11},
            marker_line={"color": INK, "width": 1.3},
            customdata=hover,
            hovertemplate="%{customdata}<extra></extra>",
        )
    height, head = rows_height(len(places), legend_entries=len(looks))
    finish(fig, title=info.title, separators=info.separators, height=height, head=head)
    rows_axis(fig, len(places))
    row_names(fig, chart_names(info.names, info.few), info.texts)
    fig.update_layout(showlegend=True)
    return fig.update_xaxes(title_text="Jobs in twelve months", rangemode="tozero")


def _use_title(governing: Governing, say: Numbers) -> str:
    word = sentence_case(_SHORT.get(governing.constraint, "no hours are short"))
    coming = [
        f"{say.percent(100 * share)} of {whose}"
        for share, whose in (
            (governing.coming.installer_share, "people's hours"),
            (governing.coming.bay_share, "bay hours"),
        )
        if not np.isnan(share)
    ]
    if governing.constraint == UNKNOWN or not coming:
        return "Whether hours are short for the next quarter is not known"
    return f"{word} for the next quarter: {listed(coming)} expected to be used"


def _unused(review: Review, frame: pd.DataFrame, say: Numbers) -> str:
    """Unused capacity of the trailing year and its price, in a sentence."""
    year = frame[frame["month"] >= review.quarter.year_first_day]
    hours = float(number(year, "unused_hours").sum(skipna=False)) if len(year) else np.nan
    cost = number(year, "unused_cost").sum(skipna=False)
    if np.isnan(hours):
        return "What unused hours cost is not known for all of the twelve months."
    if hours < 0:
        return f"In twelve months {say.hours(-hours, 0)} more were worked than there were."
    priced = "" if np.isnan(cost) else f", {say.money(cost)} of overheads that no job carries"
    return f"Unused in twelve months: {say.hours(hours, 0)} of people's time{priced}."


def _columns(table: Table) -> list[str]:
    """Those to print: the note says what governs, and grey what rests on few jobs."""
    return [each for each in table.names if each not in ("governs", "enough")]


def _earning_title(frame: pd.DataFrame, names: list[str], constraint: str, hour: str) -> str:
    per_hour = f"per_{hour.replace(' ', '_')}"
    measure = "contribution_pct" if constraint == NOTHING else per_hour
    sure = ~few(frame) & number(frame, measure).notna()
    told = [name for name, is_sure in zip(names, sure, strict=True) if is_sure]
    if len(told) < 2:
        return "Services ranked: too few jobs to compare"
    what = "In percent of revenue" if constraint == NOTHING else f"Per {hour}"
    return f"{what}, {told[0]} leaves most and {told[-1]} least (twelve months)"


def _mix_limits(review: Review, say: Numbers) -> tuple[str, str]:
    """The hours that the mix is held to, in a word and in a sentence."""
    spare = spare_hours(_months(review), governing_now(review), review.quarter)
    people, bays = (say.hours(each, 0) for each in (spare.people_hours, spare.bay_hours))
    told = "are held to those of the twelve months"
    if spare.bay_hours > 0:
        other = f"the bays, which had {bays} to spare, may be used to the last of them"
        return "people's hours", f"Only people's hours, which are short, {told}; {other}."
    if spare.people_hours > 0:
        other = f"people, who had {people} to spare, may work to the last of them"
        return "bay hours", f"Only bay hours, which are short, {told}; {other}."
    return "hours", f"People's hours and bay hours both {told}."


def _mix_title(frame: pd.DataFrame, names: list[str], gain: float, say: Numbers, hours: str) -> str:
    if np.isnan(gain):
        return "What another mix would earn is not known"
    if gain < _NO_GAIN:
        return f"No other mix of services would have left more in the same {hours}"
    change = (number(frame, "best_jobs") - number(frame, "jobs")) * number(
        frame, "material_margin_each"
    )
    more, less = change.fillna(0).to_numpy().argmax(), change.fillna(0).to_numpy().argmin()
    parts = [f"more of {names[more]}"]
    if change.iloc[less] < 0:
        parts.append(f"less of {names[less]}")
    return (
        f"In the same {hours} another mix would have left up to {say.money(gain)} more in twelve "
        f"months: {listed(parts)}"
    )


def _mix_note(frame: pd.DataFrame, names: list[str]) -> str:
    """What the mix does not know: it is a question to ask, and not a plan."""
    kept = few(frame) | number(frame, "material_margin_each").isna()
    kept |= number(frame, "hours_each").isna() | number(frame, "bay_hours_each").isna()
    left = [name for name, is_kept in zip(names, kept, strict=True) if is_kept]
    told = (
        f" Kept at today's number, too little being known of them: {listed(left)}." if left else ""
    )
    return (
        "The most that a mix could bring, and no forecast: that many customers were there in one "
        "quarter, which does not say that they come in all four; and many come for several "
        "services, so that who is sent away with a small job may not bring the large one. Read it "
        "as what to offer first and what to price up." + told
    )
