"""The figure about overruns: which vehicle models to quote longer."""

from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from typing import Any, Final

import pandas as pd
import plotly.graph_objects as go

from analysis.locale_text import counted
from analysis.report.dots import PLAIN, STRONG, Line, dots_figure
from analysis.report.grids import (
    Grid,
    Part,
    RowsInfo,
    few,
    labels_of,
    number,
    side_by_side,
    year_name,
)
from analysis.report.look import alternative, nothing
from analysis.report.numbers import Numbers
from analysis.report.results import Review
from analysis.report.vehicles import (
    POOLED,
    Models,
    basis,
    only,
    quote_longer,
    ranked_models,
)

MOST_MODELS: Final = 15
_NEXT: Final = 5  # models that are shown after the flagged ones, at least
_NAMED: Final = 2
_PERIOD_COLUMNS: Final = ("jobs", "overrun_pct", "overrun_cost")


@dataclass(frozen=True, eq=False, kw_only=True)
class VehiclesInfo(RowsInfo):
    """Models by the probability that they run over: pooled overruns with 90 % intervals [percent].

    `named_plainly` : how many models the plain average of the trailing year would have named.
    """

    middles: tuple[float, ...] = ()
    lows: tuple[float, ...] = ()
    highs: tuple[float, ...] = ()
    flagged: tuple[bool, ...] = ()
    probabilities: tuple[float, ...] = ()
    jobs: tuple[int, ...] = ()
    texts: tuple[str, ...] = ()
    tolerance_pct: float = 0.0
    named_plainly: int = 0


def gather_vehicles(review: Review) -> VehiclesInfo:
    """Every model's pooled overrun, the flagged first."""
    models = ranked_models(review)
    if models.line:
        return VehiclesInfo(title="Which vehicles run over", line=models.line)
    say = Numbers(review.settings)
    shown = models.frame.head(min(MOST_MODELS, max(len(models.flagged) + _NEXT, 10)))
    names = labels_of(shown, models.slices.table)
    texts = [_model_text(row, say) for row in shown.to_dict("records")]
    return VehiclesInfo(
        title=_vehicles_title(models, names, say),
        alternative=alternative(
            "Dot chart with intervals", "pooled overrun by vehicle model", names, texts
        ),
        grids=_vehicle_grids(review, models, shown),
        note=f"{_vehicles_note(review, models, say)} {plainly_named(models, review)}",
        names=tuple(names),
        few=tuple(few(shown)),
        unit="%",
        separators=say.separators,
        middles=tuple(number(shown, "pooled_overrun_pct")),
        lows=tuple(number(shown, "low_pct")),
        highs=tuple(number(shown, "high_pct")),
        flagged=tuple(shown["longer"]),
        probabilities=tuple(number(shown, "probability_over_tolerance")),
        jobs=tuple(shown["jobs_to_date"]),
        texts=tuple(texts),
        tolerance_pct=100 * review.settings.overrun.tolerance,
        named_plainly=models.named_plainly,
    )


def draw_vehicles(info: VehiclesInfo) -> go.Figure:
    """A dot each model on its interval; a diamond where it is to be quoted longer."""
    if info.line:
        return nothing(info.title, info.line)
    return dots_figure(
        info.names,
        (info.middles, info.lows, info.highs),
        info.texts,
        title=info.title,
        axis="Expected hours over the quote, %",
        separators=info.separators,
        few=info.few,
        looks=[STRONG if flagged else PLAIN for flagged in info.flagged],
        lines=(Line(0.0, "quote"), Line(info.tolerance_pct, "tolerance")),
    )


def plainly_named(models: Models, review: Review) -> str:
    """What the plain average would have named, and why that is no ground for a quote."""
    tolerance = Numbers(review.settings).percent(100 * review.settings.overrun.tolerance)
    if not models.named_plainly:
        return f"The plain average of twelve months names no model over {tolerance}."
    named = counted(models.named_plainly, "model")
    return (
        f"The plain average of twelve months would have named {named} over {tolerance}: "
        f"{models.not_flagged} of them cannot be told from chance."
    )


def _model_text(row: Mapping[Hashable, Any], say: Numbers) -> str:
    word = "quote longer: " if row["longer"] else "maybe: " if row["flagged"] else ""
    return (
        f"{word}{say.percent_change(row['pooled_overrun_pct'])} "
        f"({say.percent_range(row['low_pct'], row['high_pct'])}), "
        f"{counted(row['jobs_to_date'], 'job')}"
    )


def _vehicles_title(models: Models, names: list[str], say: Numbers) -> str:
    flagged = models.flagged
    if flagged.empty:
        first = models.frame.iloc[0]
        likely = say.percent(100 * first["probability_over_tolerance"])
        return f"No model is sure to run over; likeliest {names[0]} ({likely})"
    named = [
        f"{name} {say.percent_change(middle)} ({say.percent_range(low, high)})"
        for name, middle, low, high in zip(
            names[:_NAMED],
            number(flagged, "pooled_overrun_pct"),
            number(flagged, "low_pct"),
            number(flagged, "high_pct"),
            strict=False,
        )
    ]
    rest = len(flagged) - len(named[: len(flagged)])
    more = f" and {rest} more" if rest else ""
    return f"{quote_longer(len(flagged))}: {', '.join(named)}{more}"


def _vehicles_note(review: Review, models: Models, say: Numbers) -> str:
    tolerance = say.percent(100 * review.settings.overrun.tolerance)
    false = (
        f" Of these, {_often(models.false_share_pct, say)} are expected to be false alarms."
        if len(models.flagged)
        else ""
    )
    if len(models.thin):
        fewest = counted(review.settings.pricing.fewest_jobs, "job")
        false += f" Maybe: it looks so, on fewer than {fewest}; no advice yet."
    return (
        f"{basis(review)} The dot is the overrun expected of the next job, the line its 90 % "
        "interval: drawn towards its class, the more so the fewer jobs it has. A diamond, and the "
        "words quote longer, mark models that run over by more than "
        f"{tolerance} by all that the jobs say.{false} The dot is the model's average over what it "
        "comes for; what to quote for each service stands under 'Hours to quote next time'."
    )


def _often(percent: float, say: Numbers) -> str:
    return say.percent(percent) if percent >= 1 else f"less than {say.percent(1)}"


def _vehicle_grids(review: Review, models: Models, shown: pd.DataFrame) -> tuple[Grid, ...]:
    found = models.slices
    day = Numbers(review.settings).day(review.quarter.last_day)
    frames = (
        (f"All jobs to {day}", models.frame, POOLED),
        (review.quarter.label, found.quarter, _PERIOD_COLUMNS),
        (year_name(review), found.year, _PERIOD_COLUMNS),
    )
    short = [Part(period, only(frame, shown), columns) for period, frame, columns in frames]
    caption = "Overruns by vehicle model, likeliest first"
    first = side_by_side(review, found.table, short, caption=caption, order=shown)
    if len(shown) == len(models.frame):
        return (first,)
    whole = [Part(period, frame, columns) for period, frame, columns in frames]
    caption = "Overruns of all vehicle models"
    return (
        first,
        side_by_side(review, found.table, whole, caption=caption, order=models.frame),
    )
