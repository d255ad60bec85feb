"""How fast film gets dearer, supplier by supplier, and when its price stepped.

The logarithm of the landed cost an area, a roll width's own level taken off, is held against three
shapes: level, a straight line, and stretches of one level each. The stretches are the best there
are (all segmentations are weighed, by dynamic programming), and they are told only where they beat
the line by more than chance makes likely: a steady drift is a line, no staircase.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import stdtrit

from analysis.arrays import Array, Codes
from analysis.costing.purchases import after_credits
from analysis.errors import Unavailable
from analysis.findings.evidence import LEVEL
from analysis.periods import DAYS_A_YEAR

# Days of purchase, and days between the first and the last, that a trend needs.
FEWEST_DAYS: Final = 4
SHORTEST_SPAN: Final = 90
# Days of purchase in a stretch: one odd price is no step.
LEAST_STRETCH: Final = 2
MOST_STEPS: Final = 12
# What a step must win of n × log(sum of squares), at least. In level prices with normal noise a
# step is then told in under 4 series of 100, from 4 purchases to 150 (simulated).
STEP_PENALTY: Final = 12.0
# Freight shared to the cent and rounded prices move a price by so much without a cause. [log]
_LEAST_NOISE: Final = 0.002
# A single price further than this from both its neighbours, which agree, is taken for a slip; the
# first or the newest one, which has one neighbour, at `_END_SLIP`. Common practice, no source.
_SLIP: Final = np.log(1.25)
_END_SLIP: Final = np.log(2.0)
_ROUNDS: Final = 5
# A price further off the line than one level series in a hundred has by chance, for a credit or a
# slip of the pen, does not turn it; up to so many of the prices.
_OUTLIER: Final = 0.01
_MOST_OUTLIERS: Final = 0.1

STEADY, RISING, FALLING, STEPS, FEW = (
    "steady",
    "rising",
    "falling",
    "in steps",
    "too few purchases",
)


@dataclass(frozen=True, eq=False)
class TrendLine:
    """A least squares fit: coefficients, their covariance, the residuals and what is left free."""

    coefficients: Array
    covariance: Array
    residuals: Array
    free: int

    @property
    def squares(self) -> float:
        """Sum of squared residuals."""
        return float(self.residuals @ self.residuals)

    @property
    def residual_sd(self) -> float:
        """Standard deviation of the residuals: √(sum of squares ÷ free)."""
        return float(np.sqrt(self.squares / self.free))


def least_squares(design: Array, y: Array) -> TrendLine:
    """Ordinary least squares of y (rows,) on the columns of `design` (rows × columns).

    Columns that the others make up are shared over them (least norm). With no row to spare the
    covariance is missing.
    """
    found, _, rank, _ = np.linalg.lstsq(design, y, rcond=None)
    residuals = y - design @ found
    free = len(y) - int(rank)
    noise = residuals @ residuals / free if free > 0 else np.nan
    inverse = np.linalg.pinv(design)
    covariance = np.asarray(noise * (inverse @ inverse.T), dtype=np.float64)
    return TrendLine(np.asarray(found, dtype=np.float64), covariance, residuals, free)


def best_stretches(y: Array, day: Codes, most: int) -> list[tuple[float, npt.NDArray[np.int64]]]:
    """The best stretches of level values for 0, 1, ... `most` steps.

    Parameters
    ----------
    y : (rows,), in order of time
    day : 0..d-1, the day of each row; a step lies between days
    most : steps

    Returns
    -------
    list
        For each number of steps that leaves every stretch `LEAST_STRETCH` days: the sum of squares
        around the stretches' means, and the first day of each stretch after the first.

    Notes
    -----
    Exact, by the recursion over the last stretch: Jackson et al. (2005), IEEE Signal Processing
    Letters 12:105-108, here for every number of steps (so that no noise needs to be known); Killick
    et al. (2012), Journal of the American Statistical Association 107:1590-1598, prune it, which
    some hundred days do not need. Both sources from memory.
    """
    days = int(day.max()) + 1
    centred = y - y.mean()
    cost = _stretch_costs(centred, day, days)
    least = cost[0]
    came_from: list[npt.NDArray[np.intp]] = []
    found = [(float(least[days]), np.zeros(0, dtype=np.int64))]
    for _ in range(min(most, days // LEAST_STRETCH - 1)):
        total = least[:, None] + cost
        came_from.append(total.argmin(axis=0))
        least = total.min(axis=0)
        starts, end = [], days
        for back in reversed(came_from):
            end = int(back[end])
            starts.append(end)
        found.append((float(least[days]), np.array(starts[::-1], dtype=np.int64)))
    return found


def _stretch_costs(y: Array, day: Codes, days: int) -> Array:
    """Sum of squares around the mean of the days i..j-1, infinite where they are too few."""
    number, total, square = (
        np.concatenate([[0.0], np.cumsum(np.bincount(day, weight, days))])
        for weight in (np.ones(len(y)), y, y**2)
    )
    at = np.arange(days + 1)
    allowed = at[None, :] - at[:, None] >= LEAST_STRETCH
    rows = np.where(allowed, number[None, :] - number[:, None], 1.0)
    sums = total[None, :] - total[:, None]
    cost = np.maximum(square[None, :] - square[:, None] - sums**2 / rows, 0.0)
    return np.where(allowed, cost, np.inf)


@dataclass(frozen=True, eq=False)
class _History:
    """One film from one supplier.

    `rows` : a day and roll width each, in order: `received_on`, `roll_width_m`, `area_m2`,
    `landed`, `day` (0, 1, ...), `used` (no slip); `of_width` : log level of each row's width
    over the main one's; `pattern`; `line` : the straight line, None with too few purchases;
    `starts` : first day of each stretch after the first; `stretches` : the fit of the stretches,
    None without a step.
    """

    rows: pd.DataFrame
    of_width: Array
    pattern: str
    line: TrendLine | None
    starts: npt.NDArray[np.int64]
    stretches: TrendLine | None


def film_by_day(lines: pd.DataFrame, credits: pd.DataFrame) -> pd.DataFrame:
    """Film bought, a row a film, supplier, day and roll width: `area_m2`, `landed` [money].

    `lines`, `credits` : from `landed_lines` and `credits_on_lines`. Net of credits; film sent back
    is no purchase.
    """
    film = lines[(lines["kind"] == "film") & (lines["area_m2"] > 0)]
    keys = ["film", "supplier", "received_on", "roll_width_m"]
    bought = film.rename(columns={"item": "film"}).assign(landed=after_credits(film, credits))
    grouped = bought.groupby(keys, dropna=False)[["area_m2", "landed"]]
    return grouped.sum().reset_index()


def film_price_trends(lines: pd.DataFrame, credits: pd.DataFrame) -> pd.DataFrame | Unavailable:
    """The rise a year of each film from each supplier, and whether it came in steps.

    Parameters
    ----------
    lines, credits : as for `film_by_day`, up to the day asked about

    Returns
    -------
    DataFrame
        Columns of `FILM_PRICE_TRENDS` (inside). Costs an area are the day's, put to the main roll
        width of the film from that supplier (as bought where it was that width). `rise_share` is
        that of a straight line through the logarithms, with the error that residuals following each
        other leave: its variance × (1 + r) ÷ (1 − r), r their correlation from one to the next
        where above 0 (Santer et al. 2000, Journal of Geophysical Research 105:7337-7356; from
        memory). `rising` or `falling` where its 90 % interval says so and no steps fit better.

    Notes
    -----
    A width that was bought only before or only after the others hides a step between them. One
    price that stands alone is taken for a slip: counted, and in no trend and no step. Film got for
    nothing is no price.
    """
    histories = list(_histories(lines, credits))
    if not histories:
        return _no_purchases("film_price_trends")
    rows = [{**keys, **_trend_row(history)} for keys, history in histories]
    return pd.DataFrame(rows)


def film_price_steps(lines: pd.DataFrame, credits: pd.DataFrame) -> pd.DataFrame | Unavailable:
    """The stretches between the steps of each film's price from each supplier.

    Columns of `FILM_PRICE_STEPS` (inside); one stretch where the price did not step. The interval
    of a step is Student's, its date taken as known. Arguments as for `film_price_trends`.
    """
    histories = list(_histories(lines, credits))
    if not histories:
        return _no_purchases("film_price_steps")
    parts = [_step_rows(history).assign(**keys) for keys, history in histories]
    table = pd.concat(parts, ignore_index=True)
    return table[["film", "supplier", *(c for c in table if c not in ("film", "supplier"))]]


def _no_purchases(result: str) -> Unavailable:
    return Unavailable(
        result, ("purchases",), "What film costs over time needs film in the purchases table."
    )


def _histories(
    lines: pd.DataFrame, credits: pd.DataFrame
) -> Iterator[tuple[dict[str, Any], _History]]:
    bought = film_by_day(lines, credits)
    for (film, supplier), rows in bought[bought["landed"] > 0].groupby(["film", "supplier"]):
        yield {"film": film, "supplier": supplier}, _history(rows.reset_index(drop=True))


def _history(rows: pd.DataFrame) -> _History:
    days, day = np.unique(rows["received_on"].to_numpy(), return_inverse=True)
    y = np.log(rows["landed"].to_numpy(float) / rows["area_m2"].to_numpy(float))
    widths = rows.groupby("roll_width_m")["area_m2"].sum().sort_values(kind="stable").index[:-1]
    columns = np.asarray(rows["roll_width_m"].to_numpy()[:, None] == widths.to_numpy(), dtype=float)
    years = (rows["received_on"] - rows["received_on"].iloc[0]).dt.days.to_numpy() / DAYS_A_YEAR
    used = ~_slips(y - columns @ _rough_levels(y, years, columns), day)
    rows = rows.assign(day=day, used=used)
    span = years[used].max() * DAYS_A_YEAR if used.any() else 0.0
    design = np.column_stack([np.ones(len(y)), years - years.mean(), columns])
    line = least_squares(design[used], y[used])
    trend = _without_outliers(design[used], y[used])
    of_width = columns @ trend.coefficients[2:]
    none = np.zeros(0, dtype=np.int64)
    if len(np.unique(day[used])) < FEWEST_DAYS or span < SHORTEST_SPAN or line.free < 1:
        return _History(rows, of_width, FEW, None, none, None)
    level = least_squares(design[used][:, [0, *range(2, design.shape[1])]], y[used])
    _, again = np.unique(day[used], return_inverse=True)
    starts, fit = _stretches(y[used], again, columns[used], line.coefficients[2:])
    if fit is None or not _steps_win(fit, len(starts), level, line):
        low, high = _rise_interval(trend)
        pattern = RISING if low > 0 else FALLING if high < 0 else STEADY
        return _History(rows, of_width, pattern, trend, none, None)
    starts_of_all = np.unique(day[used])[starts]
    of_width = columns @ fit.coefficients[len(starts) + 1 :]
    return _History(rows, of_width, STEPS, trend, starts_of_all, fit)


def _rough_levels(y: Array, years: Array, columns: Array) -> Array:
    """Level of each width against the main one, that a slip moves little. (widths,) [log]"""
    main = ~columns.any(axis=1)
    away = y - np.interp(years, years[main], y[main])
    return np.array([np.median(away[column > 0]) for column in columns.T])


def _slips(y: Array, day: Codes) -> npt.NDArray[np.bool_]:
    """Which prices stand alone: far from the day before and the day after, which agree."""
    mean = np.bincount(day, y) / np.bincount(day)
    slip = np.zeros(len(mean), dtype=bool)
    if len(mean) >= FEWEST_DAYS:
        before, after = mean[1:-1] - mean[:-2], mean[1:-1] - mean[2:]
        near = np.minimum(np.abs(before), np.abs(after))
        slip[1:-1] = (before * after > 0) & (near > _SLIP) & (np.abs(before - after) < near / 2)
        slip[0] = abs(mean[0] - np.median(mean[1:4])) > _END_SLIP
        slip[-1] = abs(mean[-1] - np.median(mean[-4:-1])) > _END_SLIP
    return slip[day]


def _without_outliers(design: Array, y: Array) -> TrendLine:
    """The straight line, one after another left out that stands off by more than chance.

    The largest studentised residual, itself left out of the noise, by Bonferroni's bound: Cook and
    Weisberg (1982), Residuals and Influence in Regression, section 2.2 (from memory).
    """
    line = least_squares(design, y)
    for _ in range(int(len(y) * _MOST_OUTLIERS)):
        free = line.free - 1
        if free < 1 or line.squares < len(y) * _LEAST_NOISE**2 / 100:
            break
        left = 1 - np.einsum("ij,ji->i", design, np.linalg.pinv(design))
        own = line.residuals**2 / np.maximum(left, 1e-9)
        away = np.where(left > 1e-6, own * free / np.maximum(line.squares - own, 1e-12), 0.0)
        worst = int(away.argmax())
        if away[worst] < stdtrit(free, _OUTLIER / len(y) / 2) ** 2:
            break
        design, y = np.delete(design, worst, axis=0), np.delete(y, worst)
        line = least_squares(design, y)
    return line


def _stretches(
    y: Array, day: Codes, columns: Array, of_widths: Array
) -> tuple[npt.NDArray[np.int64], TrendLine | None]:
    """The stretches that the criterion likes best, in turn with the levels of the widths."""
    starts, fit = np.zeros(0, dtype=np.int64), None
    for _ in range(_ROUNDS):
        found = best_stretches(y - columns @ of_widths, day, MOST_STEPS)
        score = [_score(squares, len(y)) + _penalty(len(at), len(y)) for squares, at in found]
        before, starts = starts, found[int(np.argmin(score))][1]
        if not len(starts):
            return starts, None
        if fit is not None and np.array_equal(before, starts):
            break
        stretch = np.searchsorted(starts, day, side="right")
        own = (stretch[:, None] == np.arange(len(starts) + 1)).astype(float)
        fit = least_squares(np.column_stack([own, columns]), y)
        of_widths = fit.coefficients[len(starts) + 1 :]
    return starts, fit


def _score(squares: float, rows: int) -> float:
    """−2 × log likelihood, but for a constant, at the best noise."""
    return rows * float(np.log(squares / rows + _LEAST_NOISE**2))


def _penalty(steps: int, rows: int) -> float:
    """What steps must win: as the modified information criterion of Zhang and Siegmund has it.

    Three log n a step (2007, Biometrics 63:22-32; from memory), and not under `STEP_PENALTY`.
    """
    return steps * max(STEP_PENALTY, 3 * float(np.log(rows)))


def _steps_win(fit: TrendLine, steps: int, level: TrendLine, line: TrendLine) -> bool:
    """Whether steps fit better than a level price and than a straight line."""
    rows = len(fit.residuals)
    own = _score(fit.squares, rows) + _penalty(steps, rows)
    straight = _score(line.squares, rows) + float(np.log(rows))
    return fit.free > 0 and own < min(straight, _score(level.squares, rows))


def _rise_interval(line: TrendLine) -> tuple[float, float]:
    """90 % interval of the slope. [log a year]"""
    left = line.residuals
    square = float(left @ left)
    follow = float(left[1:] @ left[:-1]) / square if square > 0 else 0.0
    wider = np.sqrt((1 + max(follow, 0.0)) / (1 - max(follow, 0.0)))
    sd = wider * np.sqrt(line.covariance[1, 1])
    reach = float(stdtrit(line.free, (1 + LEVEL) / 2) * sd)
    slope = float(line.coefficients[1])
    return slope - reach, slope + reach


def _at_main_width(history: _History, chosen: pd.Series) -> float:
    """Landed cost ÷ area of some rows, put to the main width. [money/m²]"""
    rows = history.rows
    landed = rows["landed"].to_numpy(dtype=np.float64) / np.exp(history.of_width)
    return float(landed[chosen.to_numpy()].sum() / rows["area_m2"][chosen].sum())


def _trend_row(history: _History) -> dict[str, Any]:
    day, when = history.rows["day"], history.rows["received_on"]
    rise, low, high = np.nan, np.nan, np.nan
    if history.line is not None:
        rise = float(history.line.coefficients[1])
        low, high = _rise_interval(history.line)
    return {
        "purchases": int(day.max()) + 1,
        "first_on": when.iloc[0],
        "newest_on": when.iloc[-1],
        "first_cost_per_m2": _at_main_width(history, day == 0),
        "newest_cost_per_m2": _at_main_width(history, day == day.max()),
        "rise_share": np.expm1(rise),
        "low_share": np.expm1(low),
        "high_share": np.expm1(high),
        "steps": len(history.starts),
        "pattern": history.pattern,
    }


def _step_rows(history: _History) -> pd.DataFrame:
    rows = history.rows
    stretch = np.searchsorted(history.starts, rows["day"].to_numpy(), side="right")
    by_stretch = rows.groupby(stretch)
    step, reach = np.full((2, len(history.starts) + 1), np.nan)
    if history.stretches is not None:
        fit, number = history.stretches, len(history.starts)
        difference = np.diff(np.eye(number + 1, len(fit.coefficients)), axis=0)
        step[1:] = difference @ fit.coefficients
        variance = np.einsum("ij,jk,ik->i", difference, fit.covariance, difference)
        reach[1:] = stdtrit(fit.free, (1 + LEVEL) / 2) * np.sqrt(variance)
    # A stretch of slips alone has nothing else to show.
    kept = rows["used"] | ~by_stretch["used"].transform("any")
    costs = [_at_main_width(history, kept & (stretch == at)) for at in range(len(step))]
    return pd.DataFrame(
        {
            "from_on": by_stretch["received_on"].min(),
            "to_on": by_stretch["received_on"].max(),
            "purchases": by_stretch["day"].nunique(),
            "cost_per_m2": costs,
            "step_share": np.expm1(step),
            "low_share": np.expm1(step - reach),
            "high_share": np.expm1(step + reach),
        }
    )
