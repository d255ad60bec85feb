"""How sure a proportion is, and whether a count is enough to lean on."""

import numpy as np
import pandas as pd
from scipy.special import ndtri

LEVEL = 0.90


def wilson_interval(
    hits: pd.Series, count: pd.Series, level: float = LEVEL
) -> tuple[pd.Series, pd.Series]:
    """Lower and upper end of Wilson's score interval for hits ÷ count. [share]

    Missing where the count is 0. Source: Wilson (1927), Journal of the American Statistical
    Association 22:209-212; recommended over the textbook interval by Brown, Cai and DasGupta
    (2001), Statistical Science 16:101-133.
    """
    z = float(ndtri(0.5 + level / 2))
    n = count.where(count > 0).astype("float64")
    share = hits / n
    middle = (share + z**2 / (2 * n)) / (1 + z**2 / n)
    half = z / (1 + z**2 / n) * np.sqrt(share * (1 - share) / n + z**2 / (4 * n**2))
    return (middle - half).clip(lower=0.0), (middle + half).clip(upper=1.0)


def is_enough(count: pd.Series, fewest: int) -> pd.Series:
    """Whether each count reaches the shop's `pricing.fewest_jobs`."""
    return (count >= fewest).astype("boolean")
