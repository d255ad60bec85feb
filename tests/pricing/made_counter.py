"""Counter models and sales made of a few numbers, for tests of one function at a time."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.arrays import Array
from analysis.findings.sale_margins import IDLE
from analysis.pricing.counter_chances import Displaced, Later
from analysis.pricing.counter_installs import Installs
from analysis.pricing.counter_model import CounterModel, Parts
from analysis.record_tables import RECORD_TABLES
from analysis.records.model import FINDING_COLUMNS, Records
from analysis.settings import Settings
from tests.benchmarks.costing import typed

SEEN = pd.Timestamp("2026-09-30")
MONTH_DAYS = 30.4375


def made_records(filled: dict[str, dict[str, object]]) -> Records:
    """Records of these tables alone, inside names, with the settings of a shop that set none."""
    tables = {name: typed(name, filled.get(name, {})) for name in RECORD_TABLES}
    nothing = pd.DataFrame(columns=list(FINDING_COLUMNS))
    return Records(tables, nothing, {}, (), frozenset(filled), Settings())


def sales_followed(gap: Array, left: Array) -> tuple[pd.DataFrame, Records]:
    """Sales followed for `left` months to `SEEN`; a job booked after `gap` months (NaN: none)."""
    number = np.array([f"J{at}" for at in range(len(gap))], dtype=object)
    sold = (SEEN - pd.to_timedelta(np.floor(left * MONTH_DAYS), unit="D")).to_numpy()
    came = ~np.isnan(gap)
    days = np.floor(gap[came] * MONTH_DAYS).astype("int64")
    booked = sold[came] + days * np.timedelta64(1, "D")
    sales = {"sold_on": sold, "later_job_id": np.where(came, number, None)}
    jobs = {"job_id": number[came], "quoted_on": booked}
    records = made_records({"counter_sales": sales, "jobs": jobs})
    return records["counter_sales"], records


def made_sales(
    margin: list[float],
    minutes: list[float] | None = None,
    rate: float = 0.0,
    refill: float = 0.0,
    kind: list[int] | None = None,
    month_kind: str = IDLE,
    more_if_full: float = 0.0,
) -> pd.DataFrame:
    """Sales of known margin, as `CounterModel.sales` holds them. [money; minutes; money / h]"""
    count = len(margin)
    written = pd.Series([np.nan] * count if minutes is None else minutes, dtype="float64")
    usual = written.fillna(written.mean()).fillna(0.0)
    return pd.DataFrame(
        {
            "margin": np.asarray(margin, dtype=np.float64),
            "kind": np.zeros(count, dtype=np.int64) if kind is None else kind,
            "month_kind": month_kind,
            "refill_share": refill,
            "minutes": written,
            "usual_minutes": usual,
            "staff_cost": written.fillna(0.0) / 60 * rate,
            "other_staff_cost": (usual - written.fillna(0.0)) / 60 * rate,
            "a_minute_more": np.where(written.isna() & written.notna().any(), rate / 60, 0.0),
            "more_if_full": more_if_full,
            "has_cut": True,
            "told": True,
            "is_recent": True,
        }
    )


def made_model(
    share: Array,
    install: Array,
    later: Array | None = None,
    apart: Array | None = None,
    refill_later: float = 0.0,
    answers: int = 100,
    minutes_known: int = 100,
    known_share: Array | None = None,
    minutes_error: Array | None = None,
    *,
    use_known: bool = True,
) -> CounterModel:
    """A model of these draws (a column a kind, or one): what is not given is 0."""
    share, install = (np.asarray(each, dtype=np.float64) for each in (share, install))
    share, install = (each[:, None] if each.ndim == 1 else each for each in (share, install))
    draws, kinds = share.shape
    zero = np.zeros(draws)
    counts = np.zeros(kinds + 1)
    counts[0] = answers
    known = share if known_share is None else np.asarray(known_share, dtype=np.float64)
    services = pd.Index([f"service {at}" for at in range(kinds)], name="service")
    cells = pd.DataFrame(
        {
            "service": services,
            "vehicle_class": pd.Series(np.nan, range(kinds), dtype="str"),
            "contribution": install.mean(axis=0),
            "jobs": 10,
        }
    )
    return CounterModel(
        sales=made_sales([0.0]),
        share=share,
        known_share=known if known.ndim == 2 else known[:, None],
        install=install,
        displaced=Displaced(services, share, known, counts, counts / 2, np.zeros(kinds + 1)),
        later=Later(zero if later is None else later, 12, pd.Series([False]), 1),
        later_apart=zero if apart is None else apart,
        refill_later=refill_later,
        installs=Installs(cells, install, float("nan")),
        hour_earned=0.0,
        minutes_known=minutes_known,
        minutes_error=zero if minutes_error is None else minutes_error,
        use_known=use_known,
        seed=0,
    )


def still_parts(model: CounterModel, chosen: pd.DataFrame) -> Parts:
    """What a sale such as the chosen ones leaves, if it were known which sales come."""
    draws, kinds = model.share.shape
    of_kind = np.eye(kinds)[chosen["kind"].to_numpy()]
    free = (1 - chosen["refill_share"].to_numpy())[:, None] * of_kind
    exposed, weight = (
        np.repeat(each.mean(axis=0)[None, :], draws, axis=0) for each in (free, of_kind)
    )
    margin = np.full(draws, float(chosen["margin"].mean()))
    return Parts(margin, exposed, weight, model.refill_later)
