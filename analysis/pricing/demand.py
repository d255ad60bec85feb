"""What the price does to the share of quotes that are won: learnt from quotes won and lost."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

Array = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Demand:
    """Posterior draws of the chance to win a quote, by cell of the price list.

    The chance that a quote of a cell is won, where the list price is moved by the factor exp(step)
    and the quote stands at exp(habit) times the list: expit(level + slope × (step + habit)).

    `cells` : a row a cell: service, vehicle_class, quotes (won or lost, to date), won,
    quotes_service, enquiries (a quarter, mean of the last four, every outcome), learnt (whether
    the quotes tell what the price of the service does), note; `level` : log-odds at today's list
    price, mean season, draws × cells; `slope` : change of the log-odds with log(price), never over
    0, draws × cells; `habit` : equally likely values of log(quoted ÷ list price), cells × points.
    """

    cells: pd.DataFrame
    level: Array
    slope: Array
    habit: Array
