"""What the film does to the hours of a job, everything else alike.

The hours of a job line are its quoted hours × what was worked over the quote. Both are fitted with
the film as one more random effect beside service, vehicle class, model and people (the quote has no
people), since a shop may quote a hard film longer: that film's effect is then in the quote. The two
effects add, in logs. Films are compared within a service, for only there do they meet.
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pandas as pd
from scipy.sparse import csr_array
from scipy.special import stdtrit

from analysis.arrays import Array
from analysis.costing.jobs import Costing
from analysis.errors import Unavailable
from analysis.findings.evidence import LEVEL
from analysis.findings.hours_model import (
    CELL,
    CLASS,
    MODEL,
    PRIOR_SD,
    HoursData,
    HoursModel,
    fit_hours,
    hours_data,
    nested_codes,
    service_columns,
    sums_of,
)
from analysis.findings.mixed import fit_reml
from analysis.findings.mixed_effects import Combinations
from analysis.findings.pooling import Spread, spread_of
from analysis.findings.variance_nodes import spread_nodes

# How far films may differ before the data speak (half-normal; common practice, no source). [log]
FILM_SD: Final = 0.15
DRAWS: Final = 4000


@dataclass(frozen=True, eq=False)
class FilmEffects:
    """The fitted effects of the films.

    `mix` : job lines by service (rows) and film (columns), those that the fit rests on; `parts` :
    the fitted models, the film the last factor of each; their effects add.
    """

    mix: pd.DataFrame
    parts: tuple[HoursModel, ...]

    def against_average(self, keys: pd.DataFrame) -> Array:
        """Weights on the films: each row's film less the average film of its service's job lines.

        `keys` : service, film. A row is missing where the service has not had two films, or not
        this one. (rows × films)
        """
        mix = self.mix.reindex(keys["service"]).to_numpy(dtype=np.float64, copy=True)
        own = (keys["film"].to_numpy()[:, None] == self.mix.columns.to_numpy()).astype(np.float64)
        told = (mix > 0).sum(axis=1) > 1
        told &= (own * np.nan_to_num(mix)).sum(axis=1) > 0
        mix[~told] = np.nan
        return np.asarray(own - mix / mix.sum(axis=1, keepdims=True))

    def against(self, film: pd.Series, other: pd.Series) -> Array:
        """Weights: the other film less the film; missing where one is not known. (rows × films)"""
        own, instead = (
            (each.to_numpy()[:, None] == self.mix.columns.to_numpy()).astype(np.float64)
            for each in (film, other)
        )
        own[~own.any(axis=1) | ~instead.any(axis=1)] = np.nan
        return np.asarray(instead - own)

    def middle(self, weights: Array) -> Array:
        """The effect that each row of weights makes. (rows,) [log]"""
        found = [spread.middle() for spread in self._spreads(np.nan_to_num(weights))]
        return np.where(np.isnan(weights).any(axis=1), np.nan, np.sum(found, axis=0))

    def drawn(self, weights: Array, rng: np.random.Generator) -> Array:
        """Draws of it, the error of the variances included. (rows × draws) [log]"""
        total = np.zeros((len(weights), DRAWS))
        for spread in self._spreads(np.nan_to_num(weights)):
            total += _draws(spread, rng)
        total[np.isnan(weights).any(axis=1)] = np.nan
        return total

    def _spreads(self, weights: Array) -> list[Spread]:
        return [spread_of(part, _film_targets(part, weights)) for part in self.parts]


def film_effects(costing: Costing, until: pd.Timestamp) -> FilmEffects | Unavailable:
    """Fit the effects of the films on the hours of finished first-time job lines up to a day.

    `Unavailable` where there are too few lines, or no service has been done in two films.
    """
    data = hours_data(costing, until)
    lines = data.lines
    mix = pd.crosstab(lines["service"], lines["film"])
    if not ((mix > 0).sum(axis=1) > 1).any():
        return Unavailable(
            "film_effects",
            ("jobs",),
            "What a film does to the hours needs a service that was done in two films, with quoted "
            "and actual hours.",
        )
    worked = fit_hours(data, polish=False, spread=False)
    if isinstance(worked, Unavailable):
        return replace(worked, result="film_effects")
    alone = HoursData(lines, csr_array((len(lines), 0)), data.people[:0], data.left_out)
    quote = np.log(lines["quoted_hours"].to_numpy(dtype=np.float64))
    quoted = fit_hours(alone, (CELL, MODEL, CLASS), response=quote, polish=False, spread=False)
    # Quotes that are the same on every line of a service know of no film.
    fits = [worked] if isinstance(quoted, Unavailable) else [worked, quoted]
    return FilmEffects(mix, tuple(_with_film(fit, mix.columns) for fit in fits))


def hours_effects(effects: FilmEffects, keys: pd.DataFrame, seed: int) -> pd.DataFrame:
    """Hours of each service and film against the service's average film.

    `keys` : service, film. Returns `hours_effect_share`, `low_share`, `high_share` (90 %) on its
    index; missing where the service has not had two films.
    """
    weights = effects.against_average(keys)
    drawn = effects.drawn(weights, np.random.default_rng([seed, 1]))
    low, high = np.quantile(drawn, [(1 - LEVEL) / 2, (1 + LEVEL) / 2], axis=1)
    return pd.DataFrame(
        {
            "hours_effect_share": np.expm1(effects.middle(weights)),
            "low_share": np.expm1(low),
            "high_share": np.expm1(high),
        },
        index=keys.index,
    )


def _with_film(model: HoursModel, films: pd.Index) -> HoursModel:
    """The model fitted anew with the film as one more crossed factor.

    Lines far off what is expected of them stay held where they are held without it.
    """
    lines = model.data.lines
    own = (lines["film"].to_numpy()[:, None] == films.to_numpy()).astype(np.float64)
    crossed = [*([model.data.crew] if model.has_crew else []), csr_array(own)]
    sums = sums_of(model.held_response, service_columns(model), nested_codes(model), crossed)
    likely = np.array([*(PRIOR_SD[each] for each in model.factors), FILM_SD])
    start = np.append(model.fit.relative, FILM_SD / 2 / model.fit.noise_sd)
    fit = fit_reml(sums, start, polish=False)
    return replace(model, sums=sums, fit=fit, nodes=spread_nodes(sums, fit, likely))


def _film_targets(model: HoursModel, weights: Array) -> Combinations:
    """Linear combinations of the films alone. `weights` : (rows × films)"""
    rows, sums = len(weights), model.sums
    rest = np.zeros((rows, sum(sums.crossed) + sums.fixed))
    last = sum(sums.crossed)
    rest[:, last - weights.shape[1] : last] = weights
    nested = tuple(csr_array((rows, size)) for size in sums.nested)
    return Combinations(nested, rest, np.zeros((rows, sums.factors)))


def _draws(spread: Spread, rng: np.random.Generator) -> Array:
    """Draws of each quantity, spread evenly over its probabilities. (rows × draws)"""
    rows = len(spread.mean)
    even = np.tile((np.arange(DRAWS) + 0.5) / DRAWS, (rows, 1))
    node = np.searchsorted(np.cumsum(spread.weight), rng.permuted(even, axis=1))
    node = np.minimum(node, len(spread.weight) - 1)
    row = np.arange(rows)[:, None]
    away = stdtrit(spread.free, rng.permuted(even, axis=1))
    return np.asarray(spread.mean[row, node] + spread.sd[row, node] * away)
