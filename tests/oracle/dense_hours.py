"""The pooled overrun of each vehicle model once more, with plain square matrices.

log(actual ÷ quoted) = service (fixed) + vehicle class + vehicle model within its class + crew (by
share of the hours) + chance, by restricted maximum likelihood on the full covariance matrix V of
the job lines: V = Σ sd² Z Z' + noise² I. The variances found are taken for the truth (plug-in).

Sources: Harville (1977), Journal of the American Statistical Association 72:320-338 (restricted
likelihood; equations 2.1 to 3.4 for the best linear unbiased predictor and its error variance);
Aitchison and Brown (1957), The Lognormal Distribution (mean of a lognormal variable).
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from math import erf, expm1, log, log1p, sqrt
from typing import Any

import numpy as np
from scipy.linalg import cho_factor, cho_solve
from scipy.optimize import minimize

from .hours import class_learnt, with_hours
from .tables import Costing, Costs, make_of, model_of

Matrix = np.ndarray[Any, np.dtype[np.float64]]
Z_90 = 1.6448536269514722  # 95 % quantile of the standard normal distribution


@dataclass(frozen=True)
class Pooled:
    """A pooled overrun: the estimate and the ends of its 90 % interval [share], in logs too."""

    middle: float
    sd: float

    @property
    def overrun(self) -> float:
        return expm1(self.middle)

    @property
    def low(self) -> float:
        return expm1(self.middle - Z_90 * self.sd)

    @property
    def high(self) -> float:
        return expm1(self.middle + Z_90 * self.sd)

    def over(self, tolerance: float) -> float:
        """Probability that it exceeds a tolerance."""
        return 0.5 * (1 + erf((self.middle - log1p(tolerance)) / self.sd / sqrt(2)))


class DenseHours:
    """The fitted hours of a shop of several services, classes, models and people."""

    def __init__(self, costing: Costing) -> None:
        lines = with_hours(costing)
        self.models = [(make_of(c.line), model_of(c.line)) for c in lines]
        self.services = [c.line.service for c in lines]
        self.classes = list(class_learnt(costing).values())
        self.people = sorted({w.installer for c in lines for w in c.line.work if w.installer})
        self.y = np.array([log(c.hours / c.line.row["quoted_hours"]) for c in lines])
        self.x = indicator(self.services)
        within = list(zip(self.classes, self.models, strict=True))
        self.z = [indicator(self.classes), indicator(within), self.crew_shares(lines)]
        self.fit()

    def crew_shares(self, lines: Sequence[Costs]) -> Matrix:
        """Each person's share of the hours of each line."""
        shares = np.zeros((len(lines), len(self.people)))
        for row, costs in enumerate(lines):
            for work in costs.line.work:
                if work.installer:
                    at = self.people.index(work.installer)
                    shares[row, at] += float(work.hours / costs.hours)
        return shares

    # ---- the variances -------------------------------------------------------------------------

    def fit(self) -> None:
        """Relative standard deviations at the least −2 × restricted log likelihood."""
        squares = [each @ each.T for each in self.z]
        n, k = self.x.shape

        def solved(relative: Matrix) -> tuple[Any, Matrix, Matrix, float]:
            v = np.eye(n)
            for sd, square in zip(relative, squares, strict=True):
                v += sd**2 * square
            factor = cho_factor(v, lower=True, check_finite=False)
            inverse_x = cho_solve(factor, self.x, check_finite=False)
            information = self.x.T @ inverse_x
            beta = np.linalg.solve(information, inverse_x.T @ self.y)
            left = self.y - self.x @ beta
            noise = float(left @ cho_solve(factor, left, check_finite=False)) / (n - k)
            return factor, information, beta, noise

        def criterion(relative: Matrix) -> float:
            factor, information, _, noise = solved(relative)
            return float(
                2 * np.log(np.diagonal(factor[0])).sum()
                + np.linalg.slogdet(information)[1]
                + (n - k) * np.log(noise)
            )

        found = minimize(
            criterion,
            np.full(len(self.z), 0.4),
            method="L-BFGS-B",
            bounds=[(0.0, 50.0)] * len(self.z),
            options={"ftol": 1e-12, "gtol": 1e-5, "eps": 1e-5},
        )
        self.relative = np.asarray(found.x)
        self.factor, self.information, self.beta, self.noise = solved(self.relative)
        self.left = cho_solve(self.factor, self.y - self.x @ self.beta)

    # ---- what it says --------------------------------------------------------------------------

    def pooled(self, on_x: Matrix, on_z: Sequence[Matrix]) -> Pooled:
        """Weights on the services and on each factor's levels, with half the noise variance."""
        spread = np.zeros(len(self.y))
        own = 0.0
        for sd, z, weight in zip(self.relative, self.z, on_z, strict=True):
            spread += sd**2 * (z @ weight)
            own += sd**2 * float(weight @ weight)
        seen = cho_solve(self.factor, spread)
        rest = on_x - self.x.T @ seen
        variance = own - spread @ seen + rest @ np.linalg.solve(self.information, rest)
        middle = on_x @ self.beta + spread @ self.left
        return Pooled(float(middle + self.noise / 2), sqrt(self.noise * max(float(variance), 0.0)))

    def by(self, labels: Sequence[Hashable], with_model: bool = True) -> dict[Hashable, Pooled]:
        """The mean of a group's own lines of service, class and, where asked for, model.

        At the shop's average crew: the mean of all lines' shares, each line counting once.
        """
        found: dict[Hashable, Pooled] = {}
        for label in dict.fromkeys(labels):
            own = np.array([each == label for each in labels])
            on_z = [each[own].mean(axis=0) for each in self.z]
            on_z[1] *= with_model
            found[label] = self.pooled(self.x[own].mean(axis=0), self.at_average_crew(on_z))
        return found

    def by_model(self) -> dict[Hashable, Pooled]:
        """Pooled overrun of each make and model, on the services it came for."""
        return self.by(self.models)

    def by_class(self) -> dict[Hashable, Pooled]:
        """Pooled overrun of each class, its models' own effects left out."""
        return self.by(self.classes, with_model=False)

    def by_service(self) -> dict[Hashable, Pooled]:
        """Pooled overrun of each service, on the classes and models of all lines."""
        usual = self.at_average_crew([each.mean(axis=0) for each in self.z])
        return {
            service: self.pooled(np.eye(self.x.shape[1])[at], usual)
            for at, service in enumerate(dict.fromkeys(self.services))
        }

    def by_person(self) -> dict[Hashable, Pooled]:
        """Hours of each person against the average crew: a ratio of likes, without the chance."""
        none = [np.zeros(each.shape[1]) for each in self.z]
        average = self.at_average_crew(none)[2]
        rows: dict[Hashable, Pooled] = {}
        for at, person in enumerate(self.people):
            on_z = [*none[:2], np.eye(len(self.people))[at] - average]
            found = self.pooled(np.zeros(self.x.shape[1]), on_z)
            rows[person] = Pooled(found.middle - self.noise / 2, found.sd)
        return rows

    def at_average_crew(self, on_z: Sequence[Matrix]) -> list[Matrix]:
        return [*on_z[:2], self.z[2].sum(axis=0) / self.z[2].sum()]


def indicator(labels: Sequence[Any]) -> Matrix:
    """A column for each different label."""
    levels = list(dict.fromkeys(labels))
    columns = np.zeros((len(labels), len(levels)))
    columns[np.arange(len(labels)), [levels.index(label) for label in labels]] = 1.0
    return columns
