"""What a shop's hours are learnt from, and the model that they are learnt with.

log(actual ÷ quoted) = service + vehicle class + vehicle model within class + crew + chance, with
service fixed and the rest random, by REML (`mixed`). A crew counts by its people's hours on the
line. The error of the estimated variances is carried into whatever is asked of the model.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.sparse import csr_array
from scipy.special import ndtri

from analysis.arrays import Array, Codes
from analysis.costing.jobs import Costing
from analysis.errors import Unavailable
from analysis.findings.evidence import LEVEL
from analysis.findings.mixed import Fit, Sums, fit_reml, take_sums
from analysis.findings.mixed_effects import effects
from analysis.findings.variance_nodes import Nodes, spread_nodes

# A job line further from what the model expects than this many standard deviations of the noise
# counts as if it stood there: one slip of the pen must not move a model, a service or the noise.
HELD_AT: Final = 3.0
# Job lines that are needed beyond one for each service, before a spread can be told.
FEWEST_FREE: Final = 5
# Hours are written to the quarter of an hour: noise is never taken to be less. [log]
LEAST_NOISE: Final = 0.02
_NO_SPREAD: Final = 1e-6
# What writing hours down adds at the very least. [log]
_ROUNDING: Final = 0.005
_ROUNDS: Final = 3
_STEPS: Final = 25

# The nested factors, by the columns that make their levels; finest first.
CELL: Final = ("vehicle_class", "make", "model", "service")
MODEL: Final = ("vehicle_class", "make", "model")
CLASS: Final = ("vehicle_class",)
CREW: Final = ("installer",)
# What the standard deviations are expected to lie under, before the data speak (half-normal;
# common practice, no source): quotes already follow the size of the vehicle, so that classes differ
# little; models and people may differ by three tenths. With ten levels or more the data outvote it.
PRIOR_SD: Final = {CELL: 0.3, MODEL: 0.3, CLASS: 0.15, CREW: 0.3}


@dataclass(frozen=True, eq=False)
class HoursData:
    """The job lines that the hours of a shop are learnt from.

    `lines` : finished first-time lines with quoted and actual hours, with `log_ratio`; `crew` :
    share of each line's hours by person (lines × people, sparse); `people` : their names;
    `left_out` : finished first-time lines without both hours.
    """

    lines: pd.DataFrame
    crew: csr_array
    people: pd.Index
    left_out: int

    def until(self, day: pd.Timestamp) -> "HoursData":
        """Only the lines finished up to a day, and the people who had worked by then."""
        return self._only(np.flatnonzero((self.lines["finished_on"] <= day).to_numpy()))

    def newest(self, number: int) -> "HoursData":
        """Only the lines finished last, at most so many."""
        if len(self.lines) <= number:
            return self
        order = np.argsort(self.lines["finished_on"].to_numpy(), kind="stable")
        return self._only(np.sort(order[-number:]))

    def _only(self, kept: npt.NDArray[np.intp]) -> "HoursData":
        crew = csr_array(self.crew[kept])
        known = np.flatnonzero(np.asarray(crew.sum(axis=0)).ravel() > 0)
        lines = self.lines.iloc[kept].reset_index(drop=True)
        return HoursData(lines, csr_array(crew[:, known]), self.people[known], self.left_out)


@dataclass(frozen=True, eq=False)
class HoursModel:
    """The fitted hours of a shop.

    `services` : levels of the fixed effect (one mean for all where it is empty); `nested` : the
    nested factors in use, finest first, by their columns; `levels` : the levels of each; `has_crew`
    : whether people are a factor; `expected`, `residual` : by line, in logs; `held` : the lines
    held back; `held_response` : what the model was fitted to, with those where they are held;
    `notes` : what the data were too few for, in words.
    """

    data: HoursData
    services: pd.Index
    nested: tuple[tuple[str, ...], ...]
    levels: tuple[pd.MultiIndex, ...]
    has_crew: bool
    sums: Sums
    fit: Fit
    nodes: Nodes
    expected: Array
    residual: Array
    held: npt.NDArray[np.bool_]
    held_response: Array
    notes: tuple[str, ...]

    @property
    def relative(self) -> dict[tuple[str, ...], float]:
        """The relative standard deviations by factor, to begin another fit from."""
        return dict(zip(self.factors, self.fit.relative, strict=True))

    @property
    def factors(self) -> tuple[tuple[str, ...], ...]:
        """The random factors in the order of their standard deviations."""
        return (*self.nested, CREW) if self.has_crew else self.nested


def hours_data(costing: Costing, until: pd.Timestamp) -> HoursData:
    """The finished first-time job lines up to a day, with what their people worked on them.

    A line with quoted hours of 0, or without hours, is left out and counted.
    """
    lines = costing.lines.reset_index(drop=True)
    first = lines[lines["finished"] & ~lines["is_redo"] & (lines["finished_on"] <= until)]
    used = first[(first["quoted_hours"] > 0) & (first["actual_hours"] > 0)]
    used = used.assign(vehicle_class=_classes(used))
    ratio = np.log(used["actual_hours"].to_numpy(float) / used["quoted_hours"].to_numpy(float))
    log = costing.log
    work = log[log["job_line"].notna() & log["installer"].notna() & (log["hours"] > 0)]
    row = pd.Index(used.index).get_indexer(work["job_line"].astype("int64"))
    work, row = work[row >= 0], row[row >= 0]
    codes, people = pd.factorize(work["installer"], sort=True)
    shape = (len(used), len(people))
    hours = csr_array((work["hours"].to_numpy(float), (row, codes)), shape=shape)
    share = csr_array(hours.multiply(1 / used["actual_hours"].to_numpy(float)[:, None]))
    return HoursData(
        used.assign(log_ratio=ratio).reset_index(drop=True),
        share,
        pd.Index(people),
        len(first) - len(used),
    )


def _classes(lines: pd.DataFrame) -> pd.Series:
    """Class of each line; a blank one is that of the model's other lines, where they agree."""
    by_model = lines.groupby(["make", "model"], dropna=False)["vehicle_class"]
    known = by_model.transform("first").where(by_model.transform("nunique") == 1)
    return lines["vehicle_class"].fillna(known)


def fit_hours(
    data: HoursData,
    nested: Sequence[tuple[str, ...]] = (MODEL, CLASS),
    *,
    response: Array | None = None,
    start: Mapping[tuple[str, ...], float] | None = None,
    polish: bool = True,
    spread: bool = True,
) -> HoursModel | Unavailable:
    """Fit the hours of a shop; `Unavailable` where there are too few lines to learn from.

    `response` : (lines,), log(actual ÷ quoted) by default; `start` : relative sds to begin from,
    by factor; `polish` : as in `fit_reml`; `spread` : whether to look for what is left open about
    the variances (else the estimate stands for them). Falls back, and says so in `notes`:
    without services as a fixed effect where there are hardly more lines than services; without a
    factor that has one level only, or no level with two lines.
    """
    lines = data.lines
    y = lines["log_ratio"].to_numpy(float) if response is None else response
    notes: list[str] = []
    services = pd.Index(sorted(lines["service"].unique()))
    if len(lines) - len(services) < FEWEST_FREE:
        services = services[:0]
        notes.append("Too few job lines to tell the services apart: one mean for all.")
    if len(lines) - max(len(services), 1) < FEWEST_FREE:
        return Unavailable(
            "hours_model",
            ("jobs",),
            f"Too few finished job lines have both quoted and actual hours ({len(lines)}) to tell "
            "an overrun from chance.",
        )
    used, codes, levels = _nested_factors(lines, nested, notes)
    crew = _crew_factor(data, notes)
    fixed = _fixed(lines["service"], services)
    if _has_no_spread(y, fixed):
        return Unavailable(
            "hours_model",
            ("hours",),
            "The actual hours are the quoted ones, or a fixed share of them, on every job line: "
            "they look copied, and tell nothing.",
        )
    factors = (*used, CREW) if crew else used
    likely = np.array([PRIOR_SD[each] for each in factors])
    begin = None if start is None else np.array([start.get(each, 0.3) for each in factors])
    fit, sums, held_y = _fit_held(y, fixed, codes, crew, likely, begin, polish)
    expected = _expected(sums, fit.relative, fixed, codes, crew)
    return HoursModel(
        data,
        services,
        used,
        levels,
        bool(crew),
        sums,
        fit,
        spread_nodes(sums, fit, likely) if spread else Nodes(fit.relative[None, :], np.ones(1)),
        expected,
        y - expected,
        np.abs(held_y - y) > 1e-9,
        held_y,
        tuple(notes),
    )


def _nested_factors(
    lines: pd.DataFrame, nested: Sequence[tuple[str, ...]], notes: list[str]
) -> tuple[tuple[tuple[str, ...], ...], list[Codes], tuple[pd.MultiIndex, ...]]:
    used: list[tuple[str, ...]] = []
    codes: list[Codes] = []
    levels: list[pd.MultiIndex] = []
    for columns in nested:
        grouped = lines.groupby(list(columns), dropna=False, sort=True)
        code = np.asarray(grouped.ngroup(), dtype=np.int64)
        index = grouped.size().index
        number = int(code.max()) + 1
        if number < 2:
            notes.append(f"One {_WORD[columns]} only: its effect cannot be told.")
        elif number == len(lines):
            notes.append(f"No {_WORD[columns]} has two job lines: its effect is all chance.")
        else:
            used.append(columns)
            codes.append(code)
            levels.append(_as_multi(index, columns))
    return tuple(used), codes, tuple(levels)


_WORD: Final = {CELL: "service on a model", MODEL: "vehicle model", CLASS: "vehicle class"}


def _as_multi(index: pd.Index, columns: tuple[str, ...]) -> pd.MultiIndex:
    if isinstance(index, pd.MultiIndex):
        return index
    return pd.MultiIndex.from_arrays([index], names=list(columns))


def _crew_factor(data: HoursData, notes: list[str]) -> list[csr_array]:
    people = len(data.people)
    if people < 2 or people >= len(data.lines):
        notes.append("Fewer than two people in the time notes: people are not told apart.")
        return []
    share = data.crew.toarray()
    away = ((share - share.mean(axis=0)) ** 2).sum(axis=1)
    # How many lines the contrast between people rests on; one odd line must not carry it alone.
    if away.sum() ** 2 < FEWEST_FREE * (away**2).sum() or not away.any():
        notes.append("The same people nearly always work together: people are not told apart.")
        return []
    return [data.crew]


def _has_no_spread(y: Array, fixed: Array) -> bool:
    """Whether every line is its service's mean."""
    found = np.linalg.lstsq(fixed, y, rcond=None)[0]
    return bool(np.abs(y - fixed @ found).max() < _NO_SPREAD)


def _fixed(service: pd.Series, services: pd.Index) -> Array:
    if services.empty:
        return np.ones((len(service), 1))
    same = service.to_numpy()[:, None] == services.to_numpy()[None, :]
    return np.asarray(same, dtype=np.float64)


def _fit_held(
    y: Array,
    fixed: Array,
    codes: list[Codes],
    crew: list[csr_array],
    likely: Array,
    start: Array | None,
    polish: bool,
) -> tuple[Fit, Sums, Array]:
    """Fit with far-off lines held at `HELD_AT` standard deviations from what is expected of them.

    Winsorised residuals, in turn with the fit (Huber 1981, Robust Statistics, section 7.8: pseudo
    observations). A line counts by its studentised residual (Cook and Weisberg 1982, Residuals and
    Influence in Regression), for the only job of a model would else explain itself; and no level
    is believed further off than `likely`, its factor's standard deviation before the data speak.
    """
    held = y
    for _ in range(_ROUNDS):
        sums = sums_of(held, fixed, codes, crew)
        fit = fit_reml(sums, start, polish=False)
        start = fit.relative
        before = held
        for _ in range(_STEPS):
            believed = np.minimum(fit.relative, likely / fit.noise_sd)
            residual = y - _expected(sums, believed, fixed, codes, crew)
            left = _unexplained(codes, believed)
            bound = HELD_AT * _noise(residual / left, fit) * left
            moved = y - residual + np.clip(residual, -bound, bound)
            if np.abs(moved - held).max() < 1e-3:
                break
            held = moved
            sums = sums_of(held, fixed, codes, crew)
        if np.abs(held - before).max() < 1e-3:
            break
    return fit_reml(sums, start, polish=polish), sums, held


def sums_of(y: Array, fixed: Array, codes: Sequence[Codes], crossed: Sequence[csr_array]) -> Sums:
    """The sums of the lines, with the least noise that hours on paper have.

    Without it a shop whose every model always takes the same hours has no likelihood.
    """
    sums = take_sums(y, fixed, codes, crossed)
    inner = sums.inner.copy()
    inner[-1, -1] += len(y) * _ROUNDING**2
    return replace(sums, inner=inner)


def _unexplained(codes: list[Codes], relative: Array) -> Array:
    """Standard deviation of each line's residual ÷ that of the noise: √(1 − leverage).

    The leverage of its own levels, one factor after another; that of service and crew is small.
    """
    left = np.ones(len(codes[0]) if codes else 1)
    for code, each in zip(codes, relative, strict=False):
        count = np.bincount(code)[code]
        left = left * (1 - each**2 / (1 + each**2 * count))
    return np.asarray(np.sqrt(left))


def _noise(studentised: Array, fit: Fit) -> float:
    """The noise, judged by the nine tenths of the lines that are nearest, where that is less."""
    near = float(np.quantile(np.abs(studentised), LEVEL)) / float(ndtri((1 + LEVEL) / 2))
    return max(min(fit.noise_sd, near), LEAST_NOISE)


def _expected(
    sums: Sums, relative: Array, fixed: Array, codes: list[Codes], crew: list[csr_array]
) -> Array:
    nested, rest = effects(sums, relative)
    crossed = len(rest) - fixed.shape[1]
    expected = fixed @ rest[crossed:]
    for levels, code in zip(nested, codes, strict=True):
        expected = expected + levels[code]
    if crew:
        expected = expected + crew[0] @ rest[:crossed]
    return np.asarray(expected, dtype=np.float64)


def service_columns(model: HoursModel) -> Array:
    """The fixed effects of the model. (lines × services, or one column of ones)"""
    if model.services.empty:
        return np.ones((len(model.data.lines), 1))
    code = model.services.get_indexer(pd.Index(model.data.lines["service"]))
    return np.asarray(code[:, None] == np.arange(len(model.services)), dtype=np.float64)


def nested_codes(model: HoursModel) -> list[Codes]:
    """Level of each line in the nested factors of the model."""
    lines = model.data.lines
    return [
        levels.get_indexer(pd.MultiIndex.from_frame(lines[list(columns)])).astype(np.int64)
        for columns, levels in zip(model.nested, model.levels, strict=True)
    ]
