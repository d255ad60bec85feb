"""From last quarter's margin to this one's: what made the difference, cell by cell.

Cells are a service on a vehicle class. Every effect takes the mean of both quarters for the
factors that it holds still, so that it depends on no order and leaves no remainder (Bennet 1920,
Journal of the Royal Statistical Society 83:455-462).

Stages: job lines of both quarters → sums by cell → the margin that can be bridged, and the cells
of which it is known → effects by cell → the bridge, which is their sum.
"""

from dataclasses import dataclass
from typing import Final

import pandas as pd

from analysis.costing.jobs import Costing
from analysis.errors import Unavailable, assert_reconciled
from analysis.findings.evidence import is_enough
from analysis.findings.groups import Period, finished_in
from analysis.periods import Quarter
from analysis.price_tables import BRIDGE_CELLS, BRIDGE_EFFECTS
from analysis.records.model import Records

BOTH, NEW, DISCONTINUED = "both quarters", "new", "discontinued"
REDOS, LEFT_OUT = "redos only", "left out"
EFFECTS: Final = [column.name for column in BRIDGE_EFFECTS]
BEFORE, NOW = "before", "now"
_HAIR: Final = 1e-9  # of the largest amount: what binary sums leave
_LEAST_SHARE: Final = 0.5  # of each quarter's jobs: a bridge of fewer would tell of too little
_NAMED: Final = 3  # cells that a note names
_KEYS: Final = ["service", "vehicle_class"]
_MATERIAL: Final = {
    "price": "price",
    "fees": "payment_fee",
    "area": "consumed_area_m2",
    "film": "film_cost",
    "consumables": "consumables_cost",
}
_LABOUR: Final = {"hours": "actual_hours", "labour": "labour_cost"}
_OF_LABOUR: Final = ("labour_efficiency", "labour_rate")


@dataclass(frozen=True)
class Level:
    """A margin of the job statement: what it is made of, and the effects that lie beyond it."""

    column: str
    name: str
    parts: dict[str, str]
    beyond: tuple[str, ...]
    why: str


LEVELS: Final = (
    Level(
        "full_margin", "Full margin", _MATERIAL | _LABOUR | {"overhead": "overhead_cost"}, (), ""
    ),
    Level(
        "contribution",
        "Contribution",
        _MATERIAL | _LABOUR,
        ("overhead",),
        "overhead is not known in both quarters and is left out",
    ),
    Level(
        "material_margin",
        "Material margin",
        _MATERIAL,
        (*_OF_LABOUR, "overhead"),
        "labour is not known in both quarters and is left out, and so is overhead",
    ),
)


@dataclass(frozen=True, eq=False)
class _Compared:
    """Sums of both quarters by cell, at one level. `told` : cells of which all of it is known."""

    level: Level
    sums: pd.DataFrame
    told: pd.Series


def quarter_bridge(
    costing: Costing, records: Records, quarter: Quarter
) -> pd.DataFrame | Unavailable:
    """The margin of the quarter before, what changed it, and the margin of the quarter.

    Returns
    -------
    DataFrame
        `effect, amount, note`: the margin before, the effects, new and discontinued cells, the
        margin now. The margin is the full margin after redos; where it is not known, the last one
        that is, and the notes of the first and last row say so. `Unavailable` where one of the
        quarters has no finished job, or no margin of most of its jobs is known. [money]

    Raises
    ------
    Unreconciled
        The effects do not add to the difference of the margins.
    """
    compared = _compared(costing, records, quarter)
    if isinstance(compared, Unavailable):
        return Unavailable("quarter_bridge", compared.missing, compared.line)
    cells = _cells(compared)
    told = cells[compared.told.to_numpy()]
    effects = [name for name in EFFECTS if name not in compared.level.beyond]
    rows = [_margin_row(compared, told, BEFORE, quarter.previous)]
    rows += [(name, float(told[name].sum()), _NOTES[name]) for name in effects]
    for kind in (NEW, DISCONTINUED):
        of_kind = told[told["kind"] == kind]
        names = cell_names(of_kind)
        rows += [
            (f"{kind}: {name}", amount, _NOTES[kind])
            for name, amount in zip(names, of_kind[kind].tolist(), strict=True)
        ]
    changed = sum(amount for _, amount, _ in rows)
    rows.append(_margin_row(compared, told, NOW, quarter))
    assert_reconciled("The bridge", changed, rows[-1][1], _hair(compared.sums) * len(rows))
    return pd.DataFrame(rows, columns=["effect", "amount", "note"])


def bridge_cells(
    costing: Costing, records: Records, quarter: Quarter
) -> pd.DataFrame | Unavailable:
    """Each cell's margin then and now, and its part of every effect of `quarter_bridge`.

    The columns of `BRIDGE_CELLS`, by service and class. A cell of which something is not known in
    one of the quarters is `left out` of the bridge, and its effects are missing; so are, in every
    cell, the effects beyond the margin that is bridged. A cell is
    `enough` where each quarter that it has jobs in has `pricing.fewest_jobs`. Errors as in
    `quarter_bridge`.
    """
    compared = _compared(costing, records, quarter)
    if isinstance(compared, Unavailable):
        return Unavailable("bridge_cells", compared.missing, compared.line)
    cells = _cells(compared)
    jobs = cells[["jobs_before", "jobs_now"]]
    weakest = jobs.where(jobs > 0).min(axis=1).fillna(0)
    return cells.assign(enough=is_enough(weakest, records.settings.pricing.fewest_jobs))[
        BRIDGE_CELLS.inside_names
    ]


def cell_names(cells: pd.DataFrame) -> list[str]:
    """`SERVICE, CLASS` of each cell."""
    classes = cells["vehicle_class"].astype("object")
    names: list[str] = (
        cells["service"] + ", " + classes.where(classes.notna(), "not given")
    ).tolist()
    return names


def _compared(costing: Costing, records: Records, quarter: Quarter) -> _Compared | Unavailable:
    """The sums by cell at the margin that most jobs are known of; of equals, the last one."""
    quarters = {BEFORE: quarter.previous, NOW: quarter}
    frames = {
        when: finished_in(costing.lines, Period(each.first_day, each.last_day))
        for when, each in quarters.items()
    }
    for when, each in quarters.items():
        if frames[when].empty:
            line = f"No job was finished in {each.label}, so there is nothing to compare with."
            return Unavailable("quarter_bridge", ("jobs",), line)
    lines = pd.concat([frame.assign(when=when) for when, frame in frames.items()])
    lines = lines.assign(price=lines["invoiced_price"] * records.settings.net_of_tax)
    found = [_at_level(lines, level) for level in LEVELS]
    best = max(found, key=lambda each: _jobs_told(each).sum())  # the first of equals
    every = best.sums[["jobs_before", "jobs_now"]].sum()
    if not best.told.any() or (_jobs_told(best) < _LEAST_SHARE * every).any():
        line = (
            "The film of most jobs of one of the two quarters has no known cost, so their margins "
            "cannot be compared. Write down the cuts, and the purchases of every film."
        )
        return Unavailable("quarter_bridge", ("cuts", "purchases"), line)
    return best


def _at_level(lines: pd.DataFrame, level: Level) -> _Compared:
    sums = _sums(lines, level)
    return _Compared(level, sums, sums.drop(columns=_KEYS).notna().all(axis=1))


def _jobs_told(compared: _Compared) -> pd.Series:
    return compared.sums.loc[compared.told, ["jobs_before", "jobs_now"]].sum()


def _sums(lines: pd.DataFrame, level: Level) -> pd.DataFrame:
    """Sums by cell: `jobs_`, `redos_` (lines), every part, `redo_` and `margin_`, then and now.

    A redo stands under the first job of its chain, with its whole loss and in no other sum.
    """
    sums = {}
    for when in (BEFORE, NOW):
        here = lines["when"] == when
        first, redo = here & ~lines["is_redo"], here & lines["is_redo"]
        sums[f"jobs_{when}"] = first.astype("int64")
        sums[f"redos_{when}"] = redo.astype("int64")
        for name, column in level.parts.items():
            sums[f"{name}_{when}"] = lines[column].where(first, 0.0)
        sums[f"redo_{when}"] = (-lines[level.column]).where(redo, 0.0)
        sums[f"margin_{when}"] = lines[level.column].where(here, 0.0)
    keys = [lines["charged_service"].rename("service"), lines["charged_class"]]
    frame = pd.DataFrame(sums, index=lines.index)
    grouped = frame.groupby([keys[0], keys[1].rename("vehicle_class")], dropna=False)
    return grouped.sum(skipna=False).reset_index().astype({"vehicle_class": "str"})


def _cells(compared: _Compared) -> pd.DataFrame:
    """A row a cell: its kind, and its part of every effect; missing where it is not told."""
    sums, told = compared.sums, compared.told
    then, now = sums["jobs_before"] > 0, sums["jobs_now"] > 0
    kind = pd.Series(REDOS, index=sums.index)
    kind = kind.mask(now, NEW).mask(then, DISCONTINUED).mask(then & now, BOTH)
    cells = sums.assign(kind=kind.where(told, LEFT_OUT))
    effects = symmetrical_effects(cells[cells["kind"] == BOTH])
    effects = effects.reindex(cells.index, fill_value=0.0)
    # A redo of work that nobody asked for anew in one quarter has no job to be spread over.
    effects["redo"] += cells["redo_before"].where(~then, 0.0) - cells["redo_now"].where(~now, 0.0)
    effects[NEW] = cells["margin_now"].where(cells["kind"] == NEW, 0.0)
    effects[DISCONTINUED] = -cells["margin_before"].where(cells["kind"] == DISCONTINUED, 0.0)
    change = cells["margin_now"] - cells["margin_before"]
    gap = (effects.sum(axis=1) - change)[told]
    assert_reconciled("A cell of the bridge", float(gap.abs().max()), 0.0, _hair(sums))
    effects[list(compared.level.beyond)] = float("nan")
    effects.loc[~told] = float("nan")
    # + 0.0 turns a −0 into 0.
    return pd.concat([cells[[*_KEYS, "kind", *_COUNTS, *_MARGINS]], effects + 0.0], axis=1)


_COUNTS: Final = ["jobs_before", "jobs_now", "redos_before", "redos_now"]
_MARGINS: Final = ["margin_before", "margin_now"]


def symmetrical_effects(cells: pd.DataFrame) -> pd.DataFrame:
    """The effects of cells with jobs in both quarters. [money]

    Parameters
    ----------
    cells : a row a cell: `jobs_before`, `jobs_now` (above 0), and the sums `margin_`, `price_`,
        `fees_`, `hours_`, `labour_`, `area_`, `film_`, `consumables_`, `redo_`, `overhead_`, each
        with both endings; a part that is not there counts as 0

    Returns
    -------
    DataFrame
        A column for each of `EFFECTS`, on `cells`' index; they add to the change of the margin.

    Notes
    -----
    With N jobs in all, n of a cell, shares s = n ÷ N and m the margin a job, a bar over a letter
    being the mean of both quarters: volume = ΔN × s̄ × m̄; mix = N̄ × Δs × m̄; and n̄ × the change of
    each part a job. Labour a job = hours × rate: efficiency = n̄ × −Δhours × mean rate, rate =
    n̄ × −Δrate × mean hours; film a job = area × cost in the same way. A cell without hours (or
    film) in one quarter takes the rate of the other, so that all of it is efficiency (or usage).
    """
    jobs = cells["jobs_before"], cells["jobs_now"]
    total = [float(each.sum()) for each in jobs]
    share = jobs[0] / total[0], jobs[1] / total[1]
    margin = _a_job(cells, "margin")
    weight = _mean(*jobs)
    hours, area = _a_job(cells, "hours"), _a_job(cells, "area")
    labour, film = _a_job(cells, "labour"), _a_job(cells, "film")
    efficiency, usage = _of_quantity(hours, labour), _of_quantity(area, film)
    a_job = {
        "price": _change(*_a_job(cells, "price")),
        "labour_efficiency": -efficiency,
        "labour_rate": efficiency - _change(*labour),
        "film_usage": -usage,
        "film_price": usage - _change(*film),
        **{name: -_change(*_a_job(cells, name)) for name in _AS_THEY_ARE},
    }
    effects = pd.DataFrame({name: weight * change for name, change in a_job.items()})
    return effects.assign(
        volume=(total[1] - total[0]) * _mean(*share) * _mean(*margin),
        mix=(total[0] + total[1]) / 2 * _change(*share) * _mean(*margin),
    )[EFFECTS]


_AS_THEY_ARE: Final = ("consumables", "redo", "fees", "overhead")


def _a_job(cells: pd.DataFrame, part: str) -> tuple[pd.Series, pd.Series]:
    nothing = pd.Series(0.0, index=cells.index)
    before, now = (cells.get(f"{part}_{when}", nothing) for when in (BEFORE, NOW))
    return before / cells["jobs_before"], now / cells["jobs_now"]


def _of_quantity(
    quantity: tuple[pd.Series, pd.Series], cost: tuple[pd.Series, pd.Series]
) -> pd.Series:
    """Change of the quantity × mean cost of a unit; the rest of the change is the unit's cost."""
    before, now = (c / q.where(q > 0) for q, c in zip(quantity, cost, strict=True))
    return _change(*quantity) * _mean(before.fillna(now), now.fillna(before)).fillna(0.0)


def _mean(before: pd.Series, now: pd.Series) -> pd.Series:
    return (before + now) / 2


def _change(before: pd.Series, now: pd.Series) -> pd.Series:
    return now - before


def _margin_row(
    compared: _Compared, told: pd.DataFrame, when: str, quarter: Quarter
) -> tuple[str, float, str]:
    level = compared.level
    jobs, redos = int(told[f"jobs_{when}"].sum()), int(told[f"redos_{when}"].sum())
    work = f"{_counted(jobs, 'first-time job line')} and {_counted(redos, 'redo line')}"
    why = f"; {level.why}" if level.why else ""
    note = f"{level.name} after redos: {work}{why}.{_left_out(compared)}"
    return f"margin {quarter.label}", float(told[f"margin_{when}"].sum()), note


def _counted(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"


def _left_out(compared: _Compared) -> str:
    """Which cells are not told, for a note."""
    out = compared.sums[~compared.told]
    if out.empty:
        return ""
    jobs = int(out[["jobs_before", "jobs_now"]].to_numpy().sum())
    names = cell_names(out)
    more = f" and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
    return (
        f" Left out in both quarters, because the film, hours or wage of a job there is not known: "
        f"{'; '.join(names[:_NAMED])}{more} ({_counted(jobs, 'first-time job line')} of both "
        "quarters)."
    )


def _hair(sums: pd.DataFrame) -> float:
    amounts = sums[[name for name in sums if name not in _KEYS]]
    return _HAIR * float(amounts.abs().max().max()) + _HAIR


_NOTES: Final = {
    **{column.name: column.sentence for column in BRIDGE_EFFECTS},
    "redo": (
        "Change of the cost of redos a job; redos of work with no first-time job in a quarter "
        "with their whole cost."
    ),
    NEW: "Its margin: a service on a class with jobs in this quarter alone.",
    DISCONTINUED: "Less its margin: a service on a class with jobs in the quarter before alone.",
}
