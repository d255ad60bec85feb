"""Mixed models by brute force: the covariance of all rows written out, and nothing eliminated.

V = I + Σ relative² Z Z' in units of the noise variance; generalised least squares, the restricted
likelihood of Harville (1977), and prediction errors from the joint covariance of effects and data
(Henderson 1975, Biometrics 31:423-447). Slow, and shares no line with the package.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from numpy.linalg import inv, slogdet

Array = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Dense:
    """Rows `y`, fixed effects `fixed`, and the weights of each random factor (rows × levels)."""

    y: Array
    fixed: Array
    factors: tuple[Array, ...]

    @property
    def free(self) -> int:
        """Rows less fixed effects."""
        return len(self.y) - int(self.fixed.shape[1])

    def inverse(self, relative: Array) -> Array:
        """V⁻¹ in units of the noise variance."""
        return np.asarray(inv(self._covariance(relative)), dtype=np.float64)

    def _covariance(self, relative: Array) -> Array:
        covariance = np.eye(len(self.y))
        for sd, weights in zip(relative, self.factors, strict=True):
            covariance = covariance + sd**2 * weights @ weights.T
        return covariance

    def beta(self, relative: Array) -> tuple[Array, Array]:
        """Fixed effects and (X'V⁻¹X)⁻¹."""
        inverse = self.inverse(relative)
        spread = np.asarray(inv(self.fixed.T @ inverse @ self.fixed), dtype=np.float64)
        return spread @ self.fixed.T @ inverse @ self.y, spread

    def noise_variance(self, relative: Array) -> float:
        """Its estimate by restricted maximum likelihood at these relative sds."""
        left = self.y - self.fixed @ self.beta(relative)[0]
        return float(left @ self.inverse(relative) @ left / self.free)

    def criterion(self, relative: Array) -> float:
        """−2 × the restricted log likelihood, its constant as lme4 prints it."""
        noise = self.noise_variance(relative)
        inverse = self.inverse(relative)
        # log |V| + log |X'V⁻¹X| with the noise variance in V, + quadratic form + constant
        return float(
            len(self.y) * np.log(noise)
            + slogdet(self._covariance(relative))[1]
            - self.fixed.shape[1] * np.log(noise)
            + slogdet(self.fixed.T @ inverse @ self.fixed)[1]
            + self.free
            + self.free * np.log(2 * np.pi)
        )

    def effects(self, relative: Array) -> list[Array]:
        """Best linear unbiased predictions of each factor's levels."""
        left = self.inverse(relative) @ (self.y - self.fixed @ self.beta(relative)[0])
        return [
            sd**2 * weights.T @ left for sd, weights in zip(relative, self.factors, strict=True)
        ]

    def combination(
        self,
        relative: Array,
        on_levels: Sequence[Array],
        on_fixed: Array,
        fresh: Array,
    ) -> tuple[float, float]:
        """Mean and prediction error variance of one linear combination.

        `on_levels` : weights on the levels of each factor; `on_fixed` : on X; `fresh` : weights on
        levels never seen, one array a factor (each level apart), as columns of (factors × levels).
        """
        beta, spread = self.beta(relative)
        inverse = self.inverse(relative)
        weights = np.hstack(self.factors)
        own = np.concatenate(
            [np.full(each.shape[1], sd**2) for sd, each in zip(relative, self.factors, strict=True)]
        )
        m = np.concatenate(on_levels)
        with_data = weights @ (own * m)  # covariance of the combination's levels with y
        mean = on_fixed @ beta + sum(
            a @ b for a, b in zip(on_levels, self.effects(relative), strict=True)
        )
        of_fixed = on_fixed - self.fixed.T @ inverse @ with_data
        unseen = sum(sd**2 * (each**2).sum() for sd, each in zip(relative, fresh, strict=True))
        error = m @ (own * m) - with_data @ inverse @ with_data + of_fixed @ spread @ of_fixed
        return float(mean), float((error + unseen) * self.noise_variance(relative))
