"""Did the prices work? Each decision with what was expected of it and what came.

What an enquiry leaves = chance to win × (price net of tax and card fee − expected cost of the job).
The gain is that since the decision less that before it, made comparable:

- every job, before and since, counts at one expected cost, that of a job bought on the day before
  the decision, so that neither a dearer film nor a harder mix of vehicles is put down to the price;
- every price counts less what the list moved by other than through the decision;
- the share won before is moved by what the odds of winning in the rest of the shop did meanwhile,
  so that a season or a market that buys more is not put down to the price either. Where there is no
  rest to compare with, the interval allows for such a move instead.

Its interval is by the delta method over quotes (90 %; Student's, with the degrees of freedom of
Welch 1947, Biometrika 34:28-35), the shares won with one quote won and one lost added in their
errors, so that none of twenty is not taken for never. Realised hours
and contribution are the plain means over the jobs since, with Student's interval: what came, costs
and mix as they were.
"""

from typing import Final

import numpy as np
import pandas as pd
from scipy.special import expit, logit, ndtri, stdtrit

from analysis.arrays import one_thread
from analysis.costing.jobs import Costing
from analysis.errors import Unavailable, Unreconciled
from analysis.findings.evidence import LEVEL, wilson_interval
from analysis.price_tables import PRICE_FOLLOW_UP
from analysis.pricing.follow_up_expected import expected_then
from analysis.pricing.follow_up_windows import (
    Reach,
    decision_windows,
    in_windows,
    list_steps,
    reach_of,
    rest_shift,
    without_other_moves,
)
from analysis.pricing.follow_up_words import (
    FEWEST_QUOTES,
    GAINED,
    LOST,
    NO_DIFFERENCE,
    TOO_EARLY,
    reasons,
)
from analysis.pricing.price_cells import KEYS
from analysis.pricing.price_lines import PriceTerms
from analysis.pricing.quote_history import quote_history
from analysis.records.model import Records
from analysis.settings import Settings

RESULT: Final = PRICE_FOLLOW_UP.name
# A gain whose interval lies within this share of what an enquiry left before is none to speak of.
NO_MATTER_SHARE: Final = 0.05
_TAIL: Final = 0.5 + LEVEL / 2
_Z: Final = float(ndtri(_TAIL))
_DAYS_A_MONTH: Final = 365.25 / 12
_MOST_MONTHS: Final = 60.0


@one_thread()
def price_follow_up(
    costing: Costing, records: Records, day: pd.Timestamp, fewest: int
) -> pd.DataFrame | Unavailable:
    """Score each price decision taken by a day, on what is known on that day.

    Parameters
    ----------
    fewest : int
        Finished jobs that a verdict must rest on (`pricing.fewest_jobs`).

    Returns
    -------
    DataFrame
        Inside names of the table price_follow_up, sorted by its keys. Missing where the records do
        not say: without the table quotes there is no share won and no gain, and the jobs are dated
        by their own `quoted_on`, else by when they were begun or finished.
    """
    decisions = records["decisions"]
    taken = decisions[decisions["decided_on"] <= day]
    if taken.empty:
        return Unavailable(RESULT, ("decisions",), _nothing_line(decisions, day))
    windows = decision_windows(decisions, day)
    history = quote_history(records, day)
    lines = _dated_lines(costing, history, day)
    groups = pd.concat([history[KEYS], lines[KEYS]]).drop_duplicates(ignore_index=True)
    reach = reach_of(windows, groups, records["price_list"])
    expected = expected_then(costing, records, windows)
    jobs = _jobs(windows, in_windows(windows, reach, lines, "asked_on"))
    cost = expected["expected_cost"].fillna(jobs["mean_cost"])
    steps = list_steps(windows, records["price_list"])
    quotes, shown = _quotes(windows, reach, history, records, cost)
    shift = rest_shift(windows, reach, _decided(history))
    frame = pd.concat(
        [windows, _realised(quotes, jobs), _gains(quotes, *shift)],
        axis=1,
    ).assign(in_list=steps["in_list"], in_quotes=shown, has_quotes=not history.empty)
    frame = _with_expected(frame, expected, quotes, records.settings)
    frame = _with_power(frame, fewest)
    frame = frame.assign(verdict=_verdicts(frame, fewest))
    frame = frame.assign(reason=reasons(frame, day, fewest, records.settings))
    return frame[[*PRICE_FOLLOW_UP.inside_names]]


def _nothing_line(decisions: pd.DataFrame, day: pd.Timestamp) -> str:
    if decisions.empty:
        return (
            "Whether prices worked can be told once the table decisions holds them: decided_on, "
            "service, vehicle_class, old_price, new_price, effective_from."
        )
    return f"No price decision was taken by {day:%Y-%m-%d}."


# --- jobs ----------------------------------------------------------------------------------------


def _dated_lines(costing: Costing, history: pd.DataFrame, day: pd.Timestamp) -> pd.DataFrame:
    """First-time job lines finished by a day, with `asked_on`, the day they were asked for.

    The day of the quote that names the job and its service, else of any quote that names it, else
    the line's own.
    """
    lines = costing.lines
    lines = lines[lines["finished"] & ~lines["is_redo"] & (lines["finished_on"] <= day)]
    named = history[history["job_id"].notna()]
    asked = pd.Series(pd.NaT, index=lines.index, dtype=lines["finished_on"].dtype)
    for keys in (["job_id", "service"], ["job_id"]):
        first = named.drop_duplicates(keys)[[*keys, "quoted_on"]]
        found = lines[keys].merge(first, on=keys, how="left", validate="m:1")["quoted_on"]
        asked = asked.fillna(found.set_axis(lines.index))
    for column in ("quoted_on", "started_on", "finished_on"):
        asked = asked.fillna(lines[column])
    return lines.assign(asked_on=asked).reset_index(drop=True)


def _jobs(windows: pd.DataFrame, found: pd.DataFrame) -> pd.DataFrame:
    """By decision: jobs since, their hours and contribution, and what a job cost in both windows.

    Means are over the jobs of which the figure is known.
    """
    every = windows.index
    since = found[found["since"]]
    by = since.groupby("decision")
    cost = found["net_revenue"] - found["contribution"]
    return pd.DataFrame(
        {
            "jobs": by.size().reindex(every, fill_value=0).astype("int64"),
            "mean_price": by["quoted_price"].mean().reindex(every),
            "mean_cost": cost.groupby(found["decision"]).mean().reindex(every),
            **_student(since["actual_hours"], since["decision"], every, "hours"),
            **_student(since["contribution"], since["decision"], every, "margin"),
        },
        index=every,
    )


def _student(
    values: pd.Series, groups: pd.Series, every: pd.Index, name: str
) -> dict[str, pd.Series]:
    """Mean by group and its 90 % interval; no interval of a single one."""
    by = values.groupby(groups)
    count = by.count()
    half = by.std() / np.sqrt(count) * stdtrit((count - 1).where(count > 1), _TAIL)
    mean = by.mean()
    columns = {f"realised_{name}": mean, f"{name}_low": mean - half, f"{name}_high": mean + half}
    return {column: value.reindex(every) for column, value in columns.items()}


# --- quotes --------------------------------------------------------------------------------------


def _decided(history: pd.DataFrame) -> pd.DataFrame:
    decided = history[history["outcome"] != "open"]
    return decided.assign(won=decided["outcome"] == "won")


def _quotes(
    windows: pd.DataFrame,
    reach: Reach,
    history: pd.DataFrame,
    records: Records,
    cost: pd.Series,
) -> tuple[pd.DataFrame, pd.Series]:
    """By decision, since and before (`_before`): quotes decided, won, their prices and margins.

    `price` : mean as quoted; `level_price` : mean without the list's other moves; `margin` : mean
    of those won (of all, where none was) at the one expected cost; `margin_variance` : from quote
    to quote. And whether a quote since stands at the new price, or at that list price.
    """
    settings, price_list = records.settings, records["price_list"]
    found = in_windows(windows, reach, _decided(history), "quoted_on")
    steps = list_steps(windows, price_list)
    level = found["price"] / without_other_moves(windows, steps, found, price_list)
    terms = PriceTerms.of(settings)
    margin = level * terms.kept_share - terms.card_fixed - cost.to_numpy()[found["decision"]]
    found = found.assign(level_price=level, margin=margin, won_margin=margin.where(found["won"]))
    away = found["won_margin"] - found.groupby(["decision", "since"])["won_margin"].transform(
        "mean"
    )
    squares = (away**2).groupby(found["decision"])
    windows_with = found[found["won"]].groupby("decision")["since"].nunique()
    free = squares.count() - windows_with
    variance = (squares.sum() / free.where(free > 0)).reindex(windows.index)
    sides = [
        _side(found[found["since"] == is_since], windows.index, ending)
        for is_since, ending in ((True, ""), (False, "_before"))
    ]
    quotes = pd.concat([*sides, variance.rename("margin_variance")], axis=1)
    if int(quotes["quotes"].sum() + quotes["quotes_before"].sum()) != len(found):
        raise Unreconciled("Quotes before and since the decisions are not all that they reach.")
    new = windows["new_price"].to_numpy()[found["decision"]]
    at_new = ((found["price"] - new).abs() < 0.005) | ((found["list_price"] - new).abs() < 0.005)
    shown = at_new & found["since"]
    return quotes, windows.index.to_series().isin(found.loc[shown, "decision"])


def _side(found: pd.DataFrame, every: pd.Index, ending: str) -> pd.DataFrame:
    by = found.groupby("decision")
    frame = pd.DataFrame(
        {
            "quotes": by.size().reindex(every, fill_value=0).astype("int64"),
            "won": by["won"].sum().reindex(every, fill_value=0).astype("int64"),
            "price": by["price"].mean().reindex(every),
            "level_price": by["level_price"].mean().reindex(every),
            "margin": by["won_margin"].mean().fillna(by["margin"].mean()).reindex(every),
        },
        index=every,
    )
    return frame.add_suffix(ending) if ending else frame


def _realised(quotes: pd.DataFrame, jobs: pd.DataFrame) -> pd.DataFrame:
    low, high = wilson_interval(quotes["won"], quotes["quotes"])
    count = quotes["quotes"]
    before = quotes["quotes_before"]
    return jobs.drop(columns=["mean_price", "mean_cost"]).assign(
        quotes=count,
        won=quotes["won"],
        quotes_before=before,
        realised_win_share=quotes["won"] / count.where(count > 0),
        win_low_share=low,
        win_high_share=high,
        win_before_share=quotes["won_before"] / before.where(before > 0),
        realised_price=quotes["price"].fillna(jobs["mean_price"]),
        more_a_job=(quotes["margin"] - quotes["margin_before"]).where(
            (quotes["won"] > 0) & (quotes["won_before"] > 0)
        ),
    )


def _gains(quotes: pd.DataFrame, shift: np.ndarray, shift_variance: np.ndarray) -> pd.DataFrame:
    """The gain an enquiry, its 90 % interval, and its parts. [money]

    `left_before` : what an enquiry left before, with the share won of these days; variances of the
    gain: `since_variance` from the quotes since, falling with their number, `rest_variance` from
    all else.
    """
    share, error = _share_error(quotes["won"], quotes["quotes"])
    before, before_error = _share_error(quotes["won_before"], quotes["quotes_before"])
    # Nobody won, or everybody: the odds have no end, and a shift of them moves nothing.
    with np.errstate(divide="ignore"):
        moved = pd.Series(expit(logit(before.to_numpy(float)) + shift), index=quotes.index)
    bend = moved * (1 - moved)
    own = before * (1 - before)
    stretch = (bend / own.where(own > 0)).fillna(1.0)
    margin, margin_before = quotes["margin"], quotes["margin_before"]
    spread = quotes["margin_variance"].fillna(0.0)
    of_since = margin**2 * error + share**2 * spread / quotes["won"].clip(lower=1)
    of_before = (stretch * margin_before) ** 2 * before_error
    of_before += moved**2 * spread / quotes["won_before"].clip(lower=1)
    of_shift = (margin_before * bend) ** 2 * shift_variance
    left = moved * margin_before
    gain = share * margin - left
    rest = of_before + of_shift
    half = np.sqrt(of_since + rest) * _student_factor(
        (of_since, quotes["quotes"]), (of_before, quotes["quotes_before"]), of_since + rest
    )
    return pd.DataFrame(
        {
            "gain": gain,
            "gain_low": gain - half,
            "gain_high": gain + half,
            "left_before": left,
            "since_variance": of_since,
            "rest_variance": rest,
        }
    )


def _student_factor(
    since: tuple[pd.Series, pd.Series], before: tuple[pd.Series, pd.Series], variance: pd.Series
) -> pd.Series:
    """Half the width of the interval in standard errors; missing where a side has one quote."""
    free = variance**2 / sum(
        part**2 / (count - 1).where(count > 1) for part, count in (since, before)
    )
    return pd.Series(stdtrit(free, _TAIL), index=variance.index)


def _share_error(won: pd.Series, count: pd.Series) -> tuple[pd.Series, pd.Series]:
    """Share won, and the variance of it, one quote won and one lost added to those seen."""
    drawn = (won + 1) / (count + 2)
    return won / count.where(count > 0), drawn * (1 - drawn) / (count + 2)


# --- verdicts ------------------------------------------------------------------------------------


def _with_expected(
    frame: pd.DataFrame, expected: pd.DataFrame, quotes: pd.DataFrame, settings: Settings
) -> pd.DataFrame:
    """What was expected: as written in the decision, else as computed from what was known then.

    The price of a quote: the new price, as far above or below it as the quotes before stood to the
    old one (where there were enough of them).
    """
    enough = quotes["quotes_before"] >= FEWEST_QUOTES
    old = frame["old_price"].where(frame["old_price"] > 0)
    habit = (quotes["level_price_before"] / old).where(enough).fillna(1.0)
    price = frame["new_price"] * habit
    terms = PriceTerms.of(settings)
    margin = price * terms.kept_share - terms.card_fixed - expected["expected_cost"]
    return frame.assign(
        expected_win_share=(frame["expected_win_pct"] / 100).fillna(expected["expected_win_share"]),
        expected_price=price,
        expected_hours=frame["expected_hours"].fillna(expected["expected_hours"]),
        expected_margin=frame["expected_margin"].fillna(margin),
    )


def _with_power(frame: pd.DataFrame, fewest: int) -> pd.DataFrame:
    """How many more quotes would tell, and how long that takes at the pace since.

    If the gain were what it seems, its interval must shrink to where it leaves 0 out, or to where
    it lies within what does not matter, whichever is nearer; what the quotes before leave open does
    not shrink. `more_quotes` : missing where no number would do; `more_months`.
    """
    band = NO_MATTER_SHARE * frame["left_before"].abs()
    reach = np.maximum(frame["gain"].abs(), band - frame["gain"].abs())
    room = (reach / _Z) ** 2 - frame["rest_variance"]
    needed = frame["quotes"] * frame["since_variance"] / room.where(room > 0)
    least = np.maximum(
        FEWEST_QUOTES, np.ceil(frame["quotes"] * fewest / frame["jobs"].clip(lower=1))
    )
    more = np.ceil(np.maximum(needed, least) - frame["quotes"]).clip(lower=1)
    more = more.where(frame["quotes_before"] >= FEWEST_QUOTES)
    days = (frame["until"] - frame["effective_from"]).dt.days + 1
    pace = frame["quotes"] / (days / _DAYS_A_MONTH).where(days > 0)
    months = more / pace.where(pace > 0)
    return frame.assign(more_quotes=more, more_months=months.where(months <= _MOST_MONTHS))


def _verdicts(frame: pd.DataFrame, fewest: int) -> pd.Series:
    band = NO_MATTER_SHARE * frame["left_before"].abs()
    enough = (
        (frame["jobs"] >= fewest)
        & (frame["quotes"] >= FEWEST_QUOTES)
        & (frame["quotes_before"] >= FEWEST_QUOTES)
    )
    within = (frame["gain_low"] >= -band) & (frame["gain_high"] <= band)
    words = np.select(
        [~enough, within, frame["gain_low"] > 0, frame["gain_high"] < 0],
        [TOO_EARLY, NO_DIFFERENCE, GAINED, LOST],
        TOO_EARLY,
    )
    return pd.Series(words, index=frame.index, dtype="str")
