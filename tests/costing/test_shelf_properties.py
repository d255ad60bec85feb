"""Conservation on random records: area and money of film, hours, and whatever is shared out."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.costing.cuts import cut_areas
from analysis.costing.film import FLOWS, Shelf, film_reconciliation, run_shelf
from analysis.costing.jobs import Costing
from analysis.findings.groups import Period
from analysis.findings.offcuts import offcut_shelf
from analysis.money import allocate_cents, to_cents
from analysis.settings import Film, Settings

START = pd.Timestamp("2026-01-01")
DAYS = st.integers(0, 120)
AREA = st.integers(1, 4000).map(lambda each: each / 100)
ROLL = st.sampled_from([None, "R1", "R2", "R3"])
COSTING = st.sampled_from(["fifo", "moving-average"])
UNTIL = START + pd.Timedelta(days=365)
DUST = 1e-4  # areas and money that binary sums leave


@st.composite
def film_events(draw: st.DrawFn) -> dict[str, list[dict[str, Any]]]:
    """Purchases (some sent back), credits, pulls of every sort and counts of one film."""
    receipts = draw(
        st.lists(
            st.fixed_dictionaries(
                {"day": DAYS, "area": AREA, "price": st.integers(1, 900), "roll": ROLL}
            ),
            min_size=1,
            max_size=6,
        )
    )
    pulls = draw(
        st.lists(
            st.fixed_dictionaries(
                {
                    "day": DAYS,
                    "area": AREA,
                    "kept": st.sampled_from([0.0, 0.0, 0.25, 1.0]),
                    "roll": ROLL,
                    "source": st.sampled_from(["roll", "roll", "offcut"]),
                    "owner": st.sampled_from(["jobs", "counter_sales", "shop"]),
                }
            ),
            max_size=14,
        )
    )
    back = st.fixed_dictionaries({"day": DAYS, "area": AREA, "price": st.integers(1, 99)})
    credit = st.fixed_dictionaries({"day": DAYS, "line": st.integers(0, 5), "amount": AREA})
    count = st.fixed_dictionaries(
        {"day": DAYS, "area": st.integers(0, 9000).map(lambda n: n / 100)}
    )
    return {
        "receipts": receipts,
        "pulls": pulls,
        "returns": draw(st.lists(back, max_size=2)),
        "credits": draw(st.lists(credit, max_size=2)),
        "counts": draw(st.lists(count, max_size=3)),
    }


def frames(events: dict[str, list[dict[str, Any]]]) -> tuple[pd.DataFrame, ...]:
    def day(rows: list[dict[str, Any]]) -> pd.Series:
        return pd.Series(
            [START + pd.Timedelta(days=r["day"]) for r in rows], dtype="datetime64[us]"
        )

    bought = [*events["receipts"], *({**r, "roll": None, "sent": 1} for r in events["returns"])]
    sign = [-1.0 if "sent" in r else 1.0 for r in bought]
    lines = pd.DataFrame(
        {
            "kind": "film",
            "item": "F",
            "received_on": day(bought),
            "roll_id": pd.Series([r["roll"] for r in bought], dtype="str"),
            "area_m2": [r["area"] * s for r, s in zip(bought, sign, strict=True)],
            "landed": [r["price"] * s for r, s in zip(bought, sign, strict=True)],
        }
    )
    # A credit goes to a line that is there already.
    chosen = [(r, r["line"] % len(events["receipts"])) for r in events["credits"]]
    kept = [(r, at) for r, at in chosen if events["receipts"][at]["day"] <= r["day"]]
    credits = pd.DataFrame(
        {
            "credit": range(100, 100 + len(kept)),
            "line": pd.Series([at for _, at in kept], dtype="int64"),
            "received_on": day([r for r, _ in kept]),
            "amount": pd.Series([r["amount"] for r, _ in kept], dtype="float64"),
        }
    )
    cuts = events["pulls"]
    pulls = pd.DataFrame(
        {
            "cut_on": day(cuts),
            "film": pd.Series(["F"] * len(cuts), dtype="str"),
            "roll_id": pd.Series([r["roll"] for r in cuts], dtype="str"),
            "source": pd.Series([r["source"] for r in cuts], dtype="str"),
            "owner": pd.Series([r["owner"] for r in cuts], dtype="str"),
            "reason": pd.Series(["first"] * len(cuts), dtype="str"),
            "pulled_m2": pd.Series([r["area"] for r in cuts], dtype="float64"),
            "kept_m2": pd.Series([r["area"] * r["kept"] for r in cuts], dtype="float64"),
            "piece_m2": np.nan,
            "gross_m2": np.nan,
            "opening_m2": np.nan,
        }
    ).sort_values("cut_on", kind="stable", ignore_index=True)
    counts = pd.DataFrame(
        {
            "counted_on": day(events["counts"]),
            "film": pd.Series(["F"] * len(events["counts"]), dtype="str"),
            "area_on_hand_m2": pd.Series([r["area"] for r in events["counts"]], dtype="float64"),
            "length_on_hand_m": np.nan,
            "roll_width_m": np.nan,
        }
    )
    return lines, credits, cut_areas(pulls), counts


@settings(max_examples=80, deadline=None)
@given(events=film_events(), costing=COSTING, cut_at=DAYS)
def test_film_is_conserved_in_area_and_money(
    events: dict[str, list[dict[str, Any]]], costing: str, cut_at: int
) -> None:
    lines, credits, pulls, counts = frames(events)
    shop = Settings(film=Film(costing=costing, offcut_life_months=1))
    until = START + pd.Timedelta(days=365)
    before = pulls.copy()
    shelf = run_shelf(lines, credits, pulls, counts, shop, until)
    pd.testing.assert_frame_equal(pulls, before)
    middle = START + pd.Timedelta(days=cut_at)
    early = film_reconciliation(shelf, START, middle)
    late = film_reconciliation(shelf, middle + pd.Timedelta(days=1), until)
    whole = film_reconciliation(shelf, START, until)
    for table in (early, late, whole):
        for unit in ("area_m2", "cost"):
            into = table[f"opening_{unit}"] + table[f"purchased_{unit}"]
            out = sum(table[f"{flow}_{unit}"] for flow in FLOWS[1:]) + table[f"closing_{unit}"]
            assert np.allclose(into, out, atol=2e-5)
    if len(early):
        assert np.allclose(early["closing_cost"], late["opening_cost"], atol=1e-6)
    spent = lines["landed"].sum() - credits["amount"].sum()
    assert whole["purchased_cost"].sum() == pytest.approx(spent)
    # What each pull cost is what the shelf gave for it, credits of later days included.
    used = shelf.movements[shelf.movements["flow"].isin(["jobs", "counter_sales"])]
    own = shelf.pulls[shelf.pulls["owner"].isin(["jobs", "counter_sales"])]
    assert own["film_cost"].sum() == pytest.approx(used["cost"].sum(), abs=1e-6)


@settings(max_examples=60, deadline=None)
@given(events=film_events())
def test_after_a_count_the_book_is_what_was_counted(
    events: dict[str, list[dict[str, Any]]],
) -> None:
    lines, credits, pulls, counts = frames({**events, "counts": []})
    last = pd.DataFrame(
        {
            "counted_on": [START + pd.Timedelta(days=200)],
            "film": ["F"],
            "area_on_hand_m2": [12.5],
            "length_on_hand_m": [np.nan],
            "roll_width_m": [np.nan],
        }
    ).astype({"counted_on": "datetime64[us]"})
    shop = Settings(film=Film(offcut_life_months=24))
    shelf = run_shelf(lines, credits, pulls, last, shop, START + pd.Timedelta(days=201))
    assert shelf.closing["area_m2"].sum() == pytest.approx(12.5, abs=1e-4)


def shelf_of(events: dict[str, list[dict[str, Any]]], costing: str, life: int) -> Shelf:
    lines, credits, pulls, counts = frames(events)
    shop = Settings(film=Film(costing=costing, offcut_life_months=life))
    return run_shelf(lines, credits, pulls, counts, shop, UNTIL)


@settings(max_examples=80, deadline=None)
@given(events=film_events(), costing=COSTING, life=st.integers(1, 3))
def test_an_offcut_is_kept_once_and_never_gives_more_than_it_was(
    events: dict[str, list[dict[str, Any]]], costing: str, life: int
) -> None:
    shelf = shelf_of(events, costing, life)
    log, pulls = shelf.offcuts, shelf.pulls
    assert (log["area_m2"] > 0).all()
    assert (log["film"] == "F").all()
    kept = log[log["what"] == "kept"].set_index("ref")
    assert kept.index.is_unique
    # Each pull that kept something, on its day, at the cost at which it was issued.
    own = pulls[pulls["kept_m2"] > 0]
    assert sorted(kept.index) == sorted(own.index)
    kept = kept.reindex(own.index)
    assert (kept["day"] == own["cut_on"]).all()
    assert np.allclose(kept["area_m2"], own["kept_m2"])
    cost = own["issue_cost"] * own["kept_m2"] / own["pulled_m2"]
    assert np.allclose(kept["cost"], cost, atol=1e-6)
    gone = log[log["what"] != "kept"]
    assert set(gone["what"]) <= {"used", "written_off", "missing"}
    given = kept.reindex(gone["ref"])
    assert (gone["day"].to_numpy() >= given["day"].to_numpy()).all()
    # A part of it costs its share of the whole.
    share = gone["area_m2"].to_numpy() / given["area_m2"].to_numpy()
    assert np.allclose(gone["cost"], given["cost"].to_numpy() * share, atol=DUST)
    left = kept["area_m2"] - gone.groupby("ref")["area_m2"].sum().reindex(kept.index).fillna(0.0)
    assert (left > -DUST).all()
    # All of it is gone by the end of its life, and what is written off leaves on that very day.
    over = own["cut_on"] + pd.DateOffset(months=life)
    assert np.allclose(left[over <= UNTIL], 0.0, atol=DUST)
    written_off = gone[gone["what"] == "written_off"]
    assert written_off["ref"].is_unique
    assert (written_off["day"].to_numpy() == over.reindex(written_off["ref"]).to_numpy()).all()
    others = gone[gone["what"] != "written_off"]
    assert (others["day"].to_numpy() < over.reindex(others["ref"]).to_numpy()).all()


@settings(max_examples=80, deadline=None)
@given(events=film_events(), costing=COSTING)
def test_what_the_offcuts_give_is_what_was_taken_and_booked(
    events: dict[str, list[dict[str, Any]]], costing: str
) -> None:
    shelf = shelf_of(events, costing, 1)
    log, pulls, moved = shelf.offcuts, shelf.pulls, shelf.movements

    def day_sums(frame: pd.DataFrame, day: str, measure: pd.Series) -> pd.Series:
        return measure.groupby(frame[day]).sum()

    off_shelf = pulls[pulls["source"] == "offcut"]
    taken = day_sums(off_shelf, "cut_on", off_shelf["pulled_m2"] - off_shelf["offcut_lacking_m2"])
    used = log[log["what"] == "used"]
    gap = day_sums(used, "day", used["area_m2"]).sub(taken, fill_value=0.0)
    assert np.allclose(gap, 0.0, atol=DUST)
    # Shop use is what the shop cut, and what was written off on its day.
    gone, own = log[log["what"] == "written_off"], pulls[pulls["owner"] == "shop"]
    shop = moved[moved["flow"] == "shop"]
    booked = day_sums(shop, "day", shop["area_m2"])
    booked = booked.sub(day_sums(gone, "day", gone["area_m2"]), fill_value=0.0)
    booked = booked.sub(day_sums(own, "cut_on", own["consumed_m2"]), fill_value=0.0)
    assert np.allclose(booked, 0.0, atol=DUST)
    # No offcut goes missing but on the day of a count, and no more than that count missed.
    missing = log[log["what"] == "missing"]
    found = shelf.counts.set_index("day")["area_m2"]
    per_day = day_sums(missing, "day", missing["area_m2"])
    assert set(per_day.index) <= set(found.index)
    assert (per_day <= found.reindex(per_day.index) + DUST).all()


@settings(max_examples=80, deadline=None)
@given(events=film_events(), costing=COSTING)
def test_the_log_of_counts_is_the_books_against_what_was_counted(
    events: dict[str, list[dict[str, Any]]], costing: str
) -> None:
    shelf = shelf_of(events, costing, 1)
    counts, moved = shelf.counts, shelf.movements
    counted: dict[pd.Timestamp, float] = {}
    for row in events["counts"]:  # the counts of one day are added
        day = START + pd.Timedelta(days=row["day"])
        counted[day] = counted.get(day, 0.0) + row["area"]
    assert sorted(counts["day"]) == sorted(counted)
    assert np.allclose(counts["counted_m2"], [counted[day] for day in counts["day"]])
    assert np.allclose(counts["area_m2"], counts["book_m2"] - counts["counted_m2"], atol=DUST)
    signed = moved["area_m2"] * np.where(moved["flow"] == "purchased", 1.0, -1.0)
    for day, book, found, cost in counts[["day", "book_m2", "area_m2", "cost"]].itertuples(
        index=False
    ):
        that_day = (moved["day"] == day) & (moved["flow"] == "unexplained")
        assert book == pytest.approx(signed[(moved["day"] <= day) & ~that_day].sum(), abs=DUST)
        # Later credits on film that is missing are money alone, under their own day.
        own = moved[that_day & (moved["area_m2"] != 0.0)]
        assert own["area_m2"].sum() == pytest.approx(found, abs=DUST)
        assert own["cost"].sum() == pytest.approx(cost, abs=1e-6)


@settings(max_examples=60, deadline=None)
@given(events=film_events(), costing=COSTING, cut_at=DAYS)
def test_the_shelf_of_offcuts_adds_up_and_joins_from_period_to_period(
    events: dict[str, list[dict[str, Any]]], costing: str, cut_at: int
) -> None:
    costed = cast(Costing, SimpleNamespace(shelf=shelf_of(events, costing, 1)))
    middle = START + pd.Timedelta(days=cut_at)
    early = offcut_shelf(costed, Period(START, middle))
    late = offcut_shelf(costed, Period(middle + pd.Timedelta(days=1), UNTIL))
    for table in (early, late):
        if isinstance(table, pd.DataFrame):
            for unit in ("area_m2", "cost"):
                into = table[f"opening_{unit}"] + table[f"kept_{unit}"]
                out = [table[f"{name}_{unit}"] for name in ("used", "written_off", "missing")]
                assert np.allclose(into, sum(out) + table[f"closing_{unit}"], atol=2 * DUST)
            assert ((table["closing_offcuts"] > 0) == table["oldest_days"].notna()).all()
            assert (table["mean_age_days"].dropna() <= table["oldest_days"].dropna() + DUST).all()
    if isinstance(early, pd.DataFrame) and isinstance(late, pd.DataFrame):
        assert np.allclose(early["closing_area_m2"], late["opening_area_m2"], atol=DUST)
        assert np.allclose(early["closing_cost"], late["opening_cost"], atol=DUST)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(DAYS, AREA, st.integers(100, 900)), min_size=1, max_size=6),
    st.lists(st.tuples(DAYS, AREA), max_size=12),
)
def test_first_in_first_out_never_leaves_the_range_of_prices(
    bought: list[tuple[int, float, int]], cut: list[tuple[int, float]]
) -> None:
    """Without shortage an area costs between the least and the highest price an area."""
    total = sum(area for _, area, _ in bought)
    wanted = sum(area for _, area in cut)
    scale = min(1.0, 0.99 * total / wanted) if wanted else 1.0
    events: dict[str, list[dict[str, Any]]] = {
        "receipts": [{"day": 0, "area": a, "price": p, "roll": None} for _, a, p in bought],
        "pulls": [
            {
                "day": d,
                "area": a * scale,
                "kept": 0.0,
                "roll": None,
                "source": "roll",
                "owner": "jobs",
            }
            for d, a in cut
        ],
        "returns": [],
        "credits": [],
        "counts": [],
    }
    lines, credits, pulls, counts = frames(events)
    shelf = run_shelf(lines, credits, pulls, counts, Settings(), START)
    unit = lines["landed"] / lines["area_m2"]
    each = shelf.pulls["film_cost"] / shelf.pulls["consumed_m2"]
    assert (each >= unit.min() * (1 - 1e-6)).all()
    assert (each <= unit.max() * (1 + 1e-6)).all()


@settings(max_examples=100, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 4), st.integers(0, 10_000)), min_size=1, max_size=30),
    st.lists(st.integers(-50_000, 50_000), min_size=5, max_size=5),
)
def test_cents_are_shared_out_to_the_cent(
    receivers: list[tuple[int, int]], totals: list[int]
) -> None:
    groups = pd.Series([group for group, _ in receivers])
    weights = pd.Series([float(weight) for _, weight in receivers])
    held = pd.Series(totals)[sorted(groups.unique())]
    shares = allocate_cents(held, weights, groups)
    assert (shares.groupby(groups).sum() == held).all()
    # Largest remainder: nobody is a cent or more away from the exact share.
    total_weight = weights.groupby(groups).transform("sum")
    exact = (weights / total_weight * groups.map(held)).where(total_weight > 0)
    assert ((shares - exact).abs().dropna() < 1 + 1e-6).all()


def test_cents_round_half_away_from_zero() -> None:
    amounts = pd.Series([1.005, 2.675, -1.005, 0.125, 1e7 + 0.005])
    assert to_cents(amounts).tolist() == [101, 268, -101, 13, 1_000_000_001]
