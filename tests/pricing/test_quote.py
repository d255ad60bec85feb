"""The quote of the next job: on a small shop by hand, and on the demo, whose causes are planted."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.costing.jobs import cost_records
from analysis.errors import Unavailable, WorkbookError
from analysis.pricing.quote import Quote, Quoter, next_quote, prepare_quotes
from analysis.report.quote_text import quote_lines
from analysis.review import prepare_next_quotes
from tests.demo import demo_quoter
from tests.shops import PLAIN, records_of, write_shop

DAY = pd.Timestamp("2026-06-30")
# Ines needs the hours quoted, Tomas half as much again, on three models of one class.
MODELS = ("Heron", "Merrow", "Stork")
PEOPLE = {"Ines": 1.0, "Tomas": 1.5}


def small_shop() -> dict[str, str]:
    jobs = ["job_id | finished_on | service | make | model | vehicle_class | film | quoted_hours"]
    jobs[0] += " | quoted_price | crew | hours | pulled_length | roll_width | payment"
    for at in range(36):
        who, model = ("Ines", "Tomas")[at % 2], MODELS[at % 3]
        hours = 3 * PEOPLE[who] * (1.08, 1.0, 0.93)[at // 2 % 3]
        service = "roof" if at % 9 else "hood"
        jobs.append(
            f"J{at:02d} | 2026-{1 + at // 6:02d}-{1 + at % 6:02d} | {service} | Quillon | {model} |"
            f" compact car | GB | 3 | 400 | {who} | {hours:.3f} | 2 | 1.5 | card"
        )
    return {
        "jobs": "\n".join(jobs),
        "purchases": """
            invoice | received_on | supplier | item | kind | roll_width | roll_length | quantity |
            unit_price
            A | 2025-12-01 | S | GB | film | 1.5 | 100 | 1 | 1500""".replace("|\n", "|"),
        "price_list": """
            service | vehicle_class | list_price | list_hours | effective_from
            roof |  | 400 | 3 | 2025-01-01""",
        "rates": """
            installer | effective_from | wage
            Ines | 2025-01-01 | 20
            Tomas | 2025-01-01 | 30
            Petra | 2025-01-01 | 25""",
    }


TOML = PLAIN.replace("default_wage = 10\n", "") + "[fees]\ncard_percent = 2\n"


def quoter_of(folder: Path, toml: str = TOML, **more: str) -> Quoter:
    records = records_of(folder / "shop", toml, **(small_shop() | more))
    quoter = prepare_quotes(cost_records(records, DAY), records, DAY)
    assert isinstance(quoter, Quoter)
    return quoter


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Quoter:
    return quoter_of(tmp_path_factory.mktemp("small"))


@pytest.fixture(scope="module")
def demo() -> Quoter:
    return demo_quoter()


def roof(quoter: Quoter, model: str = "Heron", make: str = "Quillon", **options: object) -> Quote:
    return next_quote(quoter, "roof", make, model, **options)  # type: ignore[arg-type]


def told(quote: Quote, part: str) -> bool:
    questions = [each.line for each in quote.asked.questions]
    return any(part in note for note in (*questions, *quote.notes))


def test_costs_are_the_expected_hours_and_film_at_todays_prices(small: Quoter) -> None:
    """2 × 1.5 m² at 10 each; wages 20 and 30, of whom Tomas works 1.5 hours for each of Ines."""
    quote = roof(small)
    assert quote.film.area.mean_m2 == pytest.approx(3.0)
    assert quote.costs.film == pytest.approx(30.0)
    # Hours written with three places.
    assert quote.costs.labour == pytest.approx(quote.hours.mean * (20 + 1.5 * 30) / 2.5, rel=1e-3)
    assert quote.costs.consumables == 0
    assert quote.costs.redo_reserve == 0
    assert told(quote, "done over")
    total = quote.costs.film + quote.costs.labour
    assert quote.floor.price == pytest.approx(total / (1 - 0.45 - 0.02))
    assert quote.floor.contribution_share == pytest.approx(0.45)
    assert quote.at_list.price == 400
    assert quote.at_list.contribution == pytest.approx(400 - 8 - total)
    assert quote.hours.usual == 3


def test_past_jobs_stand_nearest_first_and_are_counted(small: Quoter) -> None:
    quote = roof(small)
    evidence = quote.evidence
    # 36 jobs: every ninth is a hood (four: two on Heron, as 0 and 18 divide by 3, and 9, 27 too).
    assert (evidence.service, evidence.model) == (32, 12)
    assert evidence.same_service_and_model == 8
    assert evidence.service_and_class == 32
    assert len(quote.jobs) == 8
    assert set(quote.jobs["why"]) == {"same service and model"}
    assert quote.jobs["finished_on"].is_monotonic_decreasing
    hood = next_quote(small, "hood", "Quillon", "Stork")
    assert hood.evidence.same_service_and_model == 0
    assert hood.jobs["why"].iloc[0] == "same model"
    assert told(hood, "No such job on this model yet")
    assert told(hood, "Only 4 finished jobs of this service")
    assert told(hood, "no price for hood")


def test_the_slow_person_is_quoted_longer_than_the_fast_one(small: Quoter) -> None:
    slow, fast = roof(small, installer="Tomas"), roof(small, installer="ines")
    assert slow.hours.median > 1.25 * fast.hours.median
    # Whoever may do it stands between them, and wider.
    anyone = roof(small)
    assert fast.hours.median < anyone.hours.median < slow.hours.median
    assert anyone.hours.high / anyone.hours.low > fast.hours.high / fast.hours.low
    assert fast.costs.labour == pytest.approx(fast.hours.mean * 20)
    assert slow.asked.installer == "Tomas"


def test_a_fresh_person_is_told_and_less_sure(small: Quoter) -> None:
    fresh, known = roof(small, installer="petra"), roof(small, installer="Ines")
    assert told(fresh, "Petra has no hours on a finished job yet")
    assert fresh.costs.labour == pytest.approx(fresh.hours.mean * 25)
    assert fresh.hours.high / fresh.hours.low > known.hours.high / known.hours.low
    stranger = roof(small, installer="Thomas")
    assert told(stranger, "did you mean Tomas?")
    assert told(stranger, "No wage of Thomas is known: the mean of the shop")


def test_names_are_matched_but_for_case_and_never_replaced(small: Quoter) -> None:
    quote = roof(small, "MERROW", "quillon")
    assert (quote.asked.vehicle.make, quote.asked.vehicle.model) == ("Quillon", "Merrow")
    assert not told(quote, "did you mean")
    misspelt = roof(small, "Merow")
    assert misspelt.asked.vehicle.model == "Merow"
    assert told(misspelt, "Quillon Merow was never done here; did you mean Merrow?")
    assert misspelt.evidence.model == 0
    elsewhere = roof(small, "Merrow", "Harrow")
    assert told(elsewhere, "did you mean Quillon Merrow?")
    assert told(roof(small, "Zebu", "Harrow"), "No job on Harrow Zebu yet.")


def test_an_alias_of_the_settings_holds_in_a_question_too(tmp_path: Path) -> None:
    quoter = quoter_of(tmp_path, TOML + '[aliases.model]\n"Merow GT" = "Merrow"\n')
    quote = roof(quoter, "merow  gt")
    assert quote.asked.vehicle.model == "Merrow"
    assert quote.evidence.model > 0
    assert not told(quote, "No job on")


def test_usual_hours_say_whether_the_list_or_past_quotes_have_them(small: Quoter) -> None:
    listed = next_quote(small, "roof", "Quillon", "Heron")
    assert (listed.hours.from_list, listed.hours.usual) == (True, 3)
    assert any(
        "Your list says 3.00 h" in line for line in quote_lines(listed, small.records.settings)
    )
    quoted = next_quote(small, "hood", "Quillon", "Heron")
    assert not quoted.hours.from_list
    lines = quote_lines(quoted, small.records.settings)
    assert any("You usually quote 3.00 h" in line for line in lines)


def test_a_model_that_takes_longer_adds_its_hours_to_the_price(demo: Quoter) -> None:
    """Garrow roofs were planted to take over half as long again; Selwick's as quoted."""
    garrow = roof(demo, "Garrow", "Brenhall")
    settings = demo.records.settings
    extra = garrow.surcharge
    assert 1.0 < extra.extra_hours < 2.2
    assert extra.amount % settings.pricing.round_to == 0
    # What the hours added cost is 55 % of the surcharge less the card's part of it.
    rates = demo.rates
    cost = extra.extra_hours * (rates.labour + rates.consumables)
    assert extra.amount == pytest.approx(cost / 0.52, rel=0.2)
    price = garrow.at_list.price + extra.amount
    (line,) = [each for each in quote_lines(garrow, settings) if each.startswith("Price: ")]
    assert line.startswith(f"Price: ${price:,.2f}: $")
    assert "more than others of its class" in line
    selwick = roof(demo, "Selwick", "Lumbrey")
    assert (selwick.surcharge.amount, selwick.surcharge.extra_hours) == (0, 0)


def test_a_model_never_seen_rests_on_its_class_and_is_less_sure(small: Quoter) -> None:
    new = roof(small, "Egret", vehicle_class="compact car")
    seen = roof(small)
    assert told(new, "it rests on its class and the service")
    assert new.evidence.service_and_class == 32
    assert new.hours.high / new.hours.low > seen.hours.high / seen.hours.low
    assert set(new.jobs["why"]) == {"same service and class"}


def test_a_class_never_seen_and_one_not_known_are_told(small: Quoter) -> None:
    van = roof(small, "Egret", vehicle_class="cargo van")
    assert van.asked.vehicle.vehicle_class == "cargo van"
    assert told(van, "No vehicle of the class cargo van yet.")
    assert told(van, "the range is wider")
    unknown = roof(small, "Egret")
    assert unknown.asked.vehicle.vehicle_class is None
    assert told(unknown, "class of this vehicle is not known")
    assert len(unknown.jobs) == 0
    assert np.isfinite(unknown.hours.quantile)
    assert told(roof(small, "Egret", vehicle_class="compakt car"), "did you mean compact car?")


def test_the_class_comes_from_vehicles_by_year_else_from_the_newest_job(tmp_path: Path) -> None:
    vehicles = """
        make | model | year_from | year_to | vehicle_class
        Quillon | Egret |  | 2019 | compact car
        Quillon | Egret | 2020 |  | minivan"""
    quoter = quoter_of(tmp_path, vehicles=vehicles)
    assert roof(quoter, "egret", year=2018).asked.vehicle.vehicle_class == "compact car"
    assert roof(quoter, "egret", year=2024).asked.vehicle.vehicle_class == "minivan"
    assert roof(quoter, "egret").asked.vehicle.vehicle_class is None
    own = roof(quoter, "Stork")
    assert own.asked.vehicle.vehicle_class == "compact car"
    assert told(own, "that of the newest job")
    assert not told(roof(quoter, "Stork", vehicle_class="Compact Car"), "that of the newest job")


def test_a_service_never_done_names_the_nearest_and_the_list(small: Quoter) -> None:
    with pytest.raises(WorkbookError, match=r"'rof'.*Did you mean roof\?.*roof, hood"):
        next_quote(small, "rof", "Quillon", "Heron")
    with pytest.raises(WorkbookError, match="make and the model"):
        next_quote(small, "roof", " ", "Heron")


@pytest.mark.parametrize("confidence", [0.0, 1.0, -0.2, 80.0, float("nan")])
def test_a_confidence_that_is_none_is_refused(small: Quoter, confidence: float) -> None:
    with pytest.raises(WorkbookError, match="over 0 and under 1"):
        roof(small, confidence=confidence)


def test_more_confidence_is_more_hours_and_the_grid_is_a_distribution(small: Quoter) -> None:
    shares = (0.05, 0.3, 0.5, 0.7, 0.8, 0.95)
    quotes = [roof(small, confidence=share).hours for share in shares]
    hours = [each.quantile for each in quotes]
    assert hours == sorted(hours)
    assert len(set(hours)) == len(hours)
    one = quotes[3]
    assert (one.low, one.median, one.high) == pytest.approx((hours[0], hours[2], hours[5]))
    # The setting holds where nothing is asked: 0.7.
    assert roof(small).hours.quantile == pytest.approx(hours[3])
    grid = one.grid
    assert grid["share"].is_monotonic_increasing
    assert grid["share"].between(0, 1).all()
    read_off = np.interp(0.7, grid["share"], grid["hours"])
    assert read_off == pytest.approx(one.quantile, rel=0.01)


def test_a_film_asked_for_is_priced_and_an_unknown_one_leaves_the_floor_open(
    small: Quoter,
) -> None:
    assert roof(small, film="gb").costs.film == pytest.approx(30.0)
    assert not told(roof(small, film="gb"), "used most")
    unknown = roof(small, film="GC")
    assert told(unknown, "GC is not in the records")
    assert np.isnan(unknown.costs.film)
    assert np.isnan(unknown.floor.price)
    assert told(unknown, "no floor price")
    assert np.isfinite(unknown.hours.quantile)


def test_without_a_wage_the_floor_is_open_and_says_which_part(tmp_path: Path) -> None:
    quote = roof(quoter_of(tmp_path, rates="installer | effective_from | wage"))
    assert np.isnan(quote.costs.labour)
    assert np.isnan(quote.floor.price)
    assert quote.costs.film == pytest.approx(30.0)
    assert told(quote, "cost of labour is open")
    assert quote.at_list.price == 400
    assert np.isnan(quote.at_list.contribution)


def test_too_few_jobs_to_learn_from(tmp_path: Path) -> None:
    few = "\n".join(small_shop()["jobs"].splitlines()[:4])
    records = records_of(tmp_path / "shop", TOML, **(small_shop() | {"jobs": few}))
    found = prepare_quotes(cost_records(records, DAY), records, DAY)
    assert isinstance(found, Unavailable)
    folder = write_shop(tmp_path / "again", TOML, **(small_shop() | {"jobs": few}))
    with pytest.raises(WorkbookError, match="No quote can be made yet"):
        prepare_next_quotes(folder)


def test_the_demos_planted_overrun_is_quoted_and_an_honest_model_is_not(demo: Quoter) -> None:
    """Garrow takes over half as long again as it is quoted; Selwick takes about what it is."""
    garrow = roof(demo, "Garrow", "Brenhall")
    assert garrow.hours.quantile > 1.5 * garrow.hours.usual
    assert garrow.hours.median > 1.3 * garrow.hours.usual
    selwick = roof(demo, "Selwick", "Lumbrey")
    assert selwick.hours.median == pytest.approx(selwick.hours.usual, rel=0.12)
    for quote in (garrow, selwick):
        assert quote.hours.quantile >= quote.hours.median
        assert quote.hours.low < quote.hours.median < quote.hours.high
        assert quote.evidence.same_service_and_model > 10
        assert quote.floor.contribution_share == pytest.approx(0.45)
        assert quote.costs.redo_reserve > 0


def test_the_demos_film_and_services_without_film(demo: Quoter) -> None:
    garrow = roof(demo, "Garrow", "Brenhall")
    (panel,) = garrow.film.panels.to_dict("records")
    inch = 0.0254
    # 88 × 47.5 finished, a margin of about three inches along it; rolls of 60.
    assert 90 < panel["piece_length_m"] / inch < 97
    assert panel["pulled_length_m"] >= panel["piece_length_m"]
    assert panel["pulled_width_m"] == pytest.approx(60 * inch, abs=1e-3)
    removal = next_quote(demo, "removal", "Brenhall", "Garrow")
    assert removal.film.film is None
    assert removal.costs.film == 0
    assert told(removal, "taken no film")
    assert np.isfinite(removal.floor.price)


def test_the_demos_fast_person_is_quoted_shorter(demo: Quoter) -> None:
    fast = roof(demo, "Selwick", "Lumbrey", installer="Joss Tindall")
    slow = roof(demo, "Selwick", "Lumbrey", installer="Ines Corbray")
    assert slow.hours.median > 1.15 * fast.hours.median


def test_a_slip_of_the_pen_is_held_and_told(tmp_path: Path) -> None:
    """One job of 4 h written down as 27 h: without the hold the next quote would be some 27 h."""
    rows = [("A", "roof", 4.0, 4.2), ("B", "roof", 4.0, 27.0)]
    rows += [(f"C{at}", "roof", 3.5, 3.3 + 0.1 * at) for at in range(6)]
    rows += [(f"D{at}", "hood", 2.5, 2.4 + 0.1 * at) for at in range(4)]
    models = ["Pike", "Ebb", *["Bream", "Lisk", "Pike"] * 3, "Lisk"]
    jobs = "job_id | finished_on | service | make | model | quoted_hours | quoted_price | hours\n"
    jobs += "\n".join(
        f"{name} | 2026-07-{at + 1:02d} | {service} | Harrow | {models[at]} | {quoted} | 9 | {took}"
        for at, (name, service, quoted, took) in enumerate(rows)
    )
    records = records_of(tmp_path, jobs=jobs, purchases=small_shop()["purchases"])
    day = pd.Timestamp("2026-07-31")
    quoter = prepare_quotes(cost_records(records, day), records, day)
    assert isinstance(quoter, Quoter)
    quote = next_quote(quoter, "roof", "Harrow", "Ebb")
    assert quote.hours.median < 15
    assert any(note.startswith("B took 27.00 h for 4.00 h quoted") for note in quote.notes)
    assert not any("B took" in note for note in next_quote(quoter, "roof", "Harrow", "Lisk").notes)
