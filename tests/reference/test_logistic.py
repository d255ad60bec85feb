"""The likelihood behind demand against a published logistic regression.

Spector and Mazzeo's 32 students: grade point average, score in an earlier test, whether taught by
the new method, and whether the grade improved. Data as carried by general-purpose statistics
libraries. Coefficients and log-likelihood (-13.021, 2.826, 0.095, 2.379; -12.890): Greene's chapter
on binary choice (from memory; two further decimals and the standard errors as computed by a
general-purpose library).
"""

from __future__ import annotations

import numpy as np
from scipy.optimize import approx_fprime, minimize

from analysis.arrays import Array
from analysis.pricing.demand_model import AT_GROWTH, Answers, LevelFit, LevelNodes, fit_levels
from tests.reference.published import Figures, published
from tests.reference.sources import SPECTOR

# fmt: off
GPA = [
    2.66, 2.89, 3.28, 2.92, 4.00, 2.86, 2.76, 2.87, 3.03, 3.92, 2.63, 3.32, 3.57, 3.26, 3.53, 2.74,
    2.75, 2.83, 3.12, 3.16, 2.06, 3.62, 2.89, 3.51, 3.54, 2.83, 3.39, 2.67, 3.65, 4.00, 3.10, 2.39,
]
TEST = [
    20, 22, 24, 12, 21, 17, 17, 21, 25, 29, 20, 23, 23, 25, 26, 19,
    25, 19, 23, 25, 22, 28, 14, 26, 24, 27, 17, 24, 21, 23, 21, 19,
]
NEW = [0] * 18 + [1] * 14
BETTER = [
    0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0, 0, 0, 1, 0, 0,
    0, 0, 0, 1, 0, 1, 0, 0, 1, 1, 1, 0, 1, 1, 0, 1,
]
# fmt: on
ANSWERS = Answers.of(
    np.array(NEW),
    -np.array(GPA),
    -np.array(TEST, dtype=np.float64),
    np.zeros(32, dtype=np.int64),
    np.array(BETTER, dtype=np.float64),
    np.zeros(2, dtype=np.int64),
    1,
)


def fitted(coefficients: Array) -> LevelFit:
    """The two methods as cells without a prior; grade average as price, the test as years."""
    common = np.zeros((1, 5))
    common[0, AT_GROWTH] = coefficients[1] / coefficients[0]
    steepness = np.array([[np.log(coefficients[0])]])
    nodes = LevelNodes(steepness, common, np.array([1e4]))
    return fit_levels(ANSWERS, nodes, (np.zeros((1, 1)), np.zeros((1, 2))), 40)


def lost(coefficients: Array) -> float:
    return -float(fitted(coefficients).log_likelihood.sum())


@published(SPECTOR, "logit of 32 students", "from memory")
def test_a_published_logistic_regression(figures: Figures) -> None:
    found = minimize(lost, np.array([1.0, 0.1]), method="Nelder-Mead", options={"xatol": 1e-7})
    figures.add("Logit coefficient, grade average", found.x[0], "2.82611", 2e-4)
    figures.add("Logit coefficient, earlier test", found.x[1], "0.09516", 2e-4)
    figures.add("Log-likelihood", -found.fun, "-12.88963", 1e-5)
    fit = fitted(found.x)
    constant, new = (fit.level[:, 0] + fit.offset[0, each] for each in (0, 1))
    figures.add("Logit constant", constant[0], "-13.02135", 2e-3)
    figures.add("Logit coefficient, new method", new[0] - constant[0], "2.37869", 2e-4)


@published(SPECTOR, "logit of 32 students", "recomputed")
def test_its_standard_errors_with_the_other_coefficients_let_go(figures: Figures) -> None:
    at = np.array([2.82611, 0.09516])
    bend = np.array(
        [
            approx_fprime(at, lambda x, row=row: approx_fprime(x, lost, 1e-5)[row], 1e-4)
            for row in (0, 1)
        ]
    )
    errors = np.sqrt(np.diag(np.linalg.inv(bend)))
    figures.add("Standard error, grade average", errors[0], "1.26294", 0.0126)
    figures.add("Standard error, earlier test", errors[1], "0.14155", 0.0014)
