"""What the desk of prices says of jobs, hours and spreads."""

from analysis.report.numbers import Numbers
from tests.report.test_price_desk import at_rest, parts, review


def test_the_text_says_jobs_and_hours_at_both_lists_of_prices() -> None:
    _, outlook = at_rest()
    _, figure, text = parts()
    say = Numbers(review().settings)
    assert f"{say.number(outlook.jobs)} instead of {say.number(outlook.held_jobs)}" in text.value
    assert say.number(outlook.hours) != say.number(outlook.held_hours)
    assert f"{say.number(outlook.hours)} instead of {say.number(outlook.held_hours)}" in text.value
    trace = figure.data[0]
    low = [each.mean - each.low for each in (outlook.held, outlook.total)]
    high = [each.high - each.mean for each in (outlook.held, outlook.total)]
    assert list(trace.error_x.arrayminus) == low
    assert list(trace.error_x.array) == high
