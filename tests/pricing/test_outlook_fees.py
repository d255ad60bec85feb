"""A fixed part of the card fee is paid on every job of the coming year."""

from dataclasses import replace

import pytest

from analysis.pricing.outlook import year_outlook
from analysis.settings import Fees
from tests.pricing.made_prices import SHOP, basis_of


def test_the_fixed_fee_is_paid_on_every_job() -> None:
    basis = basis_of({"jobs_year": 50})
    free = replace(SHOP, fees=Fees(card_percent=0.0, card_fixed=0.0))
    fixed = replace(SHOP, fees=Fees(card_percent=0.0, card_fixed=40.0))
    with_fee, without = (
        year_outlook(basis, None, each, basis["current_price"]) for each in (fixed, free)
    )
    assert without.held.mean - with_fee.held.mean == pytest.approx(40 * without.held_jobs)
