"""Prices under their floor, as the page counts them."""

from analysis.report.figures_suggestions import gather_suggestions
from tests.report.test_figures_suggestions import review_of, rows_of, suggestions


def test_under_the_floor_is_said_of_today_s_price_and_not_of_the_one_to_come() -> None:
    """Moved prices are at 300, their floors at 320, and 340 is suggested: all stand under now."""
    frame = suggestions(current_price=300.0, floor_price=320.0, suggested_price=340.0)
    moved = int(frame["verdict"].isin(["raise", "lower"]).sum())
    still = frame[~frame["verdict"].isin(["raise", "lower"])]
    under = moved + int((still["current_price"] < still["floor_price"]).sum())
    grid = gather_suggestions(review_of(price_suggestions=frame)).grids[0]
    assert sum(int(row[-1]) for row in rows_of(grid)) == under
