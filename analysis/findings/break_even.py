"""The revenue at which nothing is left, and how far it is away (cost-volume-profit analysis).

Formulas: Franklin, Graybeal, Cooper, Principles of Accounting, Volume 2: Managerial Accounting,
OpenStax 2019, sections 3.2 and 3.5.
"""

import math


def break_even_revenue(revenue: float, contribution: float, fixed: float) -> float:
    """Revenue at which the contribution just pays the fixed costs. [money]

    fixed ÷ (contribution ÷ revenue), of a mix of work like this one; NaN where that contributes
    nothing, or something is not known.
    """
    if not (revenue > 0 and contribution > 0):
        return math.nan
    return fixed * revenue / contribution


def margin_of_safety(revenue: float, break_even: float) -> float:
    """Share of the revenue that may be missing before nothing is left; negative in a loss."""
    return 1 - break_even / revenue if revenue > 0 else math.nan
