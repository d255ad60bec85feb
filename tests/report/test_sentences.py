"""The answers: their figures, and what they say where there is none."""

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

from analysis.errors import Unavailable
from analysis.report.film_answers import cutting_answer
from analysis.report.results import Review
from analysis.report.sentences import (
    answers,
    film_answer,
    quotes_answer,
    redo_answer,
    result_answer,
    services_answer,
    shelf_answer,
    trust_answer,
    vehicles_answer,
)

MakeReview = Callable[..., Review]


def statement(**amounts: float) -> pd.DataFrame:
    """A statement with these lines."""
    return pd.DataFrame(
        {"line": list(amounts), "amount": list(amounts.values()), "note": [""] * len(amounts)}
    )


def test_the_questions_of_an_owner_are_answered(review: Review) -> None:
    found = answers(review)
    assert [each.anchor for each in found] == [
        "money",
        "money",
        "prices",
        "overruns",
        "film",
        "counter",
        "money",
        "prices",
        "overruns",
        "saving",
        "saving",
        "film",
        "redo",
        "records",
    ]
    assert all(each.is_known and each.line.endswith(".") for each in found)
    assert not any("nan" in f"{each.line} {each.detail}".lower().split() for each in found)


def test_the_result_is_held_against_the_quarter_before(make_review: MakeReview) -> None:
    now = statement(full_margin_of_jobs=900.0, result=-120.4, utilisation_pct=87.5)
    before = statement(full_margin_of_jobs=900.2, result=80.0)
    review = make_review(results={"shop_result": now}, previous={"shop_result": before})
    answer = result_answer(review)
    assert answer.line == "A loss of $120, $200 worse than in 2026Q2 ($80)."
    assert answer.detail == (
        "Finished jobs left a full margin of $900, the same as in 2026Q2. "
        "88% of the hours that can be worked were worked."
    )


def test_without_a_quarter_before_nothing_is_compared(make_review: MakeReview) -> None:
    empty = statement()
    answer = result_answer(make_review(previous={"shop_result": empty}))
    assert "nothing to compare with in 2026Q2" in answer.line


def test_a_result_with_a_hole_names_it(make_review: MakeReview) -> None:
    holed = statement(net_revenue=10.0, film=np.nan, result=np.nan)
    costs = make_review().frame("job_costs")
    costs = costs.assign(film=costs["film"].where(costs.index % 3 > 0))
    costs.loc[:4, "film_cost"], costs.loc[:4, "quarter"] = np.nan, "2026Q3"
    costs.loc[:4, "film"] = ["GB-6O", "GB-6O", "GB-6O", np.nan, "MB"]
    costs.loc[5:, "film_cost"] = 1.0
    answer = result_answer(make_review(results={"shop_result": holed, "job_costs": costs}))
    assert not answer.is_known
    assert "cannot be computed to its last line" in answer.line
    assert answer.detail == (
        "The first line that is missing is Film. It wants a purchase of every film that was cut. "
        "It is not known of 5 job lines, of the films GB-6O (3), (not given) (1) and MB (1): look "
        "whether each was bought under that name, and whether every pull has its length and width."
    )


def test_services_that_lost_are_named_worst_first(make_review: MakeReview) -> None:
    frame = (
        make_review()
        .results["margin_by_service"]
        .assign(
            full_margin=[500.0, -20.0, 900.0, np.nan, -90.0, 100.0],
            enough=[True, True, False, True, True, True],
        )
    )
    answer = services_answer(make_review(results={"margin_by_service": frame}))
    assert answer.line == (
        "Colour change ($900, few jobs), roof ($500) and protection film, full front ($100) "
        "earned most after all costs. Trim (−$90) and hood (−$20) lost money."
    )
    assert answer.detail.startswith("The full margin of 1 service cannot be computed.")
    assert "1 service had fewer than 5 jobs" in answer.detail


def two_models(make_review: MakeReview, **columns: object) -> Review:
    """A review of two vehicle models, the same in quarter and year."""
    made = make_review().frame("hours_by_model").head(2)
    frame = made.assign(
        make=["Harrow", "Solway"],
        model=["Pike", "Tern"],
        pooled_overrun_share=[0.42, 0.12],
        low_share=[0.35, -0.01],
        high_share=[0.48, 0.26],
        probability_over_tolerance=[0.98, 0.6],
        flagged=pd.array([True, False], dtype="boolean"),
        jobs_to_date=[24, 3],
        overrun_share=[0.5, 0.3],
        overrun_cost=[1287.0, 90.0],
    ).assign(**columns)
    return make_review(results={"hours_by_model": frame}, year={"hours_by_model": frame})


def test_vehicles_to_quote_longer_are_named_with_interval_jobs_and_cost(
    make_review: MakeReview,
) -> None:
    answer = vehicles_answer(two_models(make_review))
    assert answer.line == "Harrow Pike +42% (35% to 48%, 24 jobs, cost $1,287)."
    assert answer.detail == (
        "So that 70% of such jobs keep to the quote, write Harrow Pike, tint: 5.0 h instead of "
        "4.0 h. "
        "Estimated from all jobs up to Sep 30, 2026, not from 2026Q3 alone. Costs are those of "
        "their overruns in twelve months. The chance that this is a false alarm is 2%. The plain "
        "average of twelve months would have named 2 models over 10%: 1 of them cannot be told "
        "from chance."
    )


def test_more_models_than_can_be_named_are_counted(review: Review) -> None:
    flagged = int(review.frame("hours_by_model")["flagged"].sum())
    assert flagged == 4
    line = vehicles_answer(review).line
    assert line.count("%,") == 3
    assert line.endswith("; also Oakley & Rowe Moor +19%.")


def test_many_models_more_are_counted(
    make_review: MakeReview, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("analysis.report.sentences._MOST_OTHERS", 0)
    assert vehicles_answer(make_review()).line.endswith("; and 1 more.")


def test_where_most_models_run_over_it_is_the_quoting(make_review: MakeReview) -> None:
    frame = make_review().frame("hours_by_model").assign(jobs_to_date=24)
    count = len(frame)
    most = frame.assign(flagged=[at < count // 2 + 1 for at in range(count)])
    half = frame.assign(flagged=[at < count // 2 for at in range(count)])
    told = vehicles_answer(make_review(results={"hours_by_model": most})).detail
    assert told.startswith(
        f"{count // 2 + 1} of {count} models with enough jobs run over: that is the way of quoting "
        "rather than a vehicle, so quote every job longer first ("
    )
    assert " over all). So that 70% of such jobs" in told
    untold = vehicles_answer(make_review(results={"hours_by_model": half})).detail
    assert untold.startswith("So that 70% of such jobs")


def test_without_a_flag_the_likeliest_is_named(make_review: MakeReview) -> None:
    answer = vehicles_answer(two_models(make_review, flagged=False))
    assert answer.is_known
    assert answer.line == "No model is sure to run over its quotes by more than 10%."
    assert answer.detail.startswith("Likeliest is Harrow Pike, with a probability of 98%.")


def test_without_estimates_the_reason_is_the_answer(make_review: MakeReview) -> None:
    blank = (
        make_review()
        .frame("hours_by_model")
        .assign(**dict.fromkeys(["pooled_overrun_share", "probability_over_tolerance"], np.nan))
    )
    few = Unavailable("hours_spread", ("jobs",), "Too few jobs to learn from.")
    answer = vehicles_answer(
        make_review(
            results={"hours_by_model": blank, "hours_spread": few}, year={"hours_by_model": blank}
        )
    )
    assert (answer.line, answer.is_known) == (few.line, False)


def test_quotes_that_held_stand_against_what_should(make_review: MakeReview) -> None:
    frame = make_review().frame("next_quotes").head(2)
    some = frame.assign(jobs=[30, 10], usual_hours=[4.0, 8.0], hours_to_quote=[5.0, 9.0])
    answer = quotes_answer(make_review(results={"next_quotes": some}))
    assert answer.line == "46% of the shop's own quotes held; 70% should."
    # (30 × 5 + 10 × 9) ÷ (30 × 4 + 10 × 8) = 1.2
    assert answer.detail == (
        "For that, quote 20% more hours over all, by service and model as the table says. Of 180 "
        "jobs of two years quoted again this way beforehand, 71% would have held."
    )


def test_film_lost_is_said_in_area_share_and_money(review: Review) -> None:
    answer = film_answer(review)
    frame = review.frame("waste_by_film")
    share = 100 * frame["waste_area_m2"].sum() / frame["consumed_area_m2"].sum()
    assert f"{share:.0f}% was lost" in answer.line
    assert f"worth ${frame['waste_cost'].sum():,.0f}." in answer.line
    assert "side loss" in answer.detail
    assert "could not be counted in" not in answer.detail


def test_cuts_without_sizes_are_told(make_review: MakeReview) -> None:
    frame = make_review().frame("waste_by_film")
    some = frame.assign(cuts_unmeasured=[3, 0, 0, 0])
    detail = film_answer(make_review(results={"waste_by_film": some})).detail
    assert "3 cuts without finished sizes" in detail
    areas = [name for name in frame if name.endswith("_m2")]
    none = frame.assign(**dict.fromkeys([*areas, "waste_cost", "waste_share"], np.nan))
    answer = film_answer(make_review(results={"waste_by_film": none}))
    assert not answer.is_known
    assert answer.detail == "Write finished sizes in cuts, or finished_area in jobs."


@pytest.mark.parametrize(
    ("areas", "line", "detail"),
    [
        ([0.0, 0.0], "The counts agree with the books.", ""),
        (
            [0.09290304, -0.9290304],
            "1.0 sq ft of film is missing, worth $5.",
            "All of it is GB-60. Of 1 film, 10.0 sq ft more was found than the books say.",
        ),
    ],
)
def test_the_shelf(areas: list[float], line: str, detail: str, make_review: MakeReview) -> None:
    frame = make_review().frame("film_reconciliation").head(2)
    frame = frame.assign(unexplained_area_m2=areas, unexplained_cost=[5.0, -50.0])
    answer = shelf_answer(make_review(results={"film_reconciliation": frame}))
    assert (answer.line, answer.detail) == (line, detail)


def test_a_shelf_that_nobody_counted_is_unknown(make_review: MakeReview) -> None:
    review = make_review(counted_on=pd.Timestamp("2026-06-30"))
    answer = shelf_answer(review)
    assert not answer.is_known
    assert answer.line == "No film was counted in 2026Q3: what went missing is unseen."


def test_redos_carry_their_interval(make_review: MakeReview) -> None:
    frame = (
        make_review()
        .results["redo"]
        .head(2)
        .assign(
            jobs=[40, 10],
            redos=[2, 0],
            redo_share=[0.05, 0.0],
            low_share=[0.017, 0.0],
            high_share=[0.14, 0.21],
            redo_cost=[350.0, 0.0],
            enough=[True, True],
        )
    )
    answer = redo_answer(make_review(results={"redo": frame}))
    assert answer.line == "2 of 50 jobs in twelve months (4.0%), at a cost of $350."
    assert (
        answer.detail == "Of the services most often roof: 5.0% (between 1.7% and 14.0% plausible)."
    )
    none = frame.assign(redos=0, redo_cost=0.0)
    assert (
        redo_answer(make_review(results={"redo": none})).line == "None of 50 jobs in twelve months."
    )


def test_a_cost_that_is_partly_unknown_is_not_summed(make_review: MakeReview) -> None:
    made = make_review()
    redos = made.frame("redo").assign(redo_cost=[np.nan] + [0.0] * 16)
    waste = made.frame("waste_by_film")
    waste = waste.assign(waste_cost=waste["waste_cost"].where(waste["film"] != "GB-60"))
    review = make_review(results={"redo": redos, "waste_by_film": waste})
    assert "at a cost" not in redo_answer(review).line
    found = film_answer(review)
    assert "worth" not in found.line
    assert "about" not in found.detail


def test_trust_counts_rows_doubts_and_gaps(make_review: MakeReview) -> None:
    gone = Unavailable("redo", ("jobs",), "No jobs.")
    answer = trust_answer(make_review(results={"redo": gone}))
    assert answer.line == "2 of 1,760 rows could not be read and are in no figure."
    assert answer.detail == (
        "Doubtful entries in the rows that were used: 1. 1 result could not be computed."
    )


@pytest.mark.parametrize(
    ("answer", "table"),
    [
        (result_answer, "shop_result"),
        (services_answer, "margin_by_service"),
        (vehicles_answer, "hours_by_model"),
        (quotes_answer, "quote_calibration"),
        (film_answer, "waste_by_film"),
        (shelf_answer, "film_reconciliation"),
        (redo_answer, "redo"),
    ],
)
def test_what_cannot_be_computed_says_why(
    answer: Callable[[Review], object], table: str, make_review: MakeReview
) -> None:
    gone = Unavailable(table, ("jobs",), "Because.")
    found = answer(make_review(results={table: gone}, year={table: gone}))
    assert (found.line, found.is_known) == ("Because.", False)  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("safety", "word"), [(19.4, "19% less;"), (-12.0, "12% more;"), (np.nan, "")]
)
def test_the_revenue_that_leaves_nothing_is_told(
    safety: float, word: str, make_review: MakeReview
) -> None:
    now = statement(
        full_margin_of_jobs=900.0,
        result=100.0,
        break_even_revenue=90_210.4,
        margin_of_safety_pct=safety,
    )
    detail = result_answer(make_review(results={"shop_result": now})).detail
    told = f"The result would be 0 at a net revenue of $90,210, {word}"
    assert (told in detail) is bool(word)
    assert ("would be 0" in detail) is bool(word)


def test_cutting_smaller_is_to_be_tried_first(make_review: MakeReview) -> None:
    frame = make_review().frame("best_allowance")
    told = "try it on one panel first"
    for verdict, is_told in (("cut smaller", True), ("cut larger", False), ("as it is", False)):
        made = make_review(results={"best_allowance": frame.assign(verdict=verdict)})
        assert (told in cutting_answer(made).detail) is is_told
