"""The sections of the page: which figures stand in each, in the order of reading."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

import pandas as pd
import plotly.io
from markupsafe import Markup

from analysis.report.cautions import MONEY_CAUTION, PRICE_CAUTION, STAFF_CAUTION
from analysis.report.example_layout import gather_example
from analysis.report.figures_allowance import draw_best_allowance, gather_best_allowance
from analysis.report.figures_bridge import draw_bridge, gather_bridge
from analysis.report.figures_cells import draw_cells, gather_cells
from analysis.report.figures_counter import (
    draw_counter_quarters,
    draw_counter_sale,
    draw_counter_verdicts,
    gather_counter_quarters,
    gather_counter_sale,
    gather_counter_verdicts,
)
from analysis.report.figures_counter_why import (
    draw_displaced,
    draw_unknowns,
    gather_displaced,
    gather_unknowns,
)
from analysis.report.figures_cut_film import gather_cut_film_prices, gather_kits
from analysis.report.figures_demand import (
    draw_demand,
    draw_seasons,
    gather_demand,
    gather_seasons,
)
from analysis.report.figures_film import (
    draw_causes,
    draw_stacks,
    gather_causes,
    gather_flows,
    gather_waste,
)
from analysis.report.figures_flows import (
    AREA,
    COST,
    draw_flow_picture,
    gather_flow_picture,
)
from analysis.report.figures_follow_up import draw_follow_up, gather_follow_up
from analysis.report.figures_governs import (
    draw_earning,
    draw_mix,
    draw_use,
    gather_earning,
    gather_mix,
    gather_use,
)
from analysis.report.figures_hours import (
    draw_hours,
    draw_tasks,
    gather_hours,
    gather_tasks,
)
from analysis.report.figures_installed import (
    draw_installed,
    draw_swaps,
    gather_installed,
    gather_swaps,
)
from analysis.report.figures_learning import (
    draw_drift,
    draw_learning,
    gather_drift,
    gather_learning,
)
from analysis.report.figures_models import (
    draw_over_hours,
    gather_flagged_tasks,
    gather_pulls,
    gather_spread,
)
from analysis.report.figures_money import (
    draw_full_margin,
    draw_statement,
    gather_full_margin,
    gather_statement,
)
from analysis.report.figures_orders import draw_orders, gather_orders
from analysis.report.figures_outlook import draw_outlook, gather_outlook
from analysis.report.figures_overruns import draw_vehicles, gather_vehicles
from analysis.report.figures_people import draw_people, gather_people
from analysis.report.figures_prices import draw_prices, gather_prices
from analysis.report.figures_quotes import (
    draw_calibration,
    draw_losses,
    gather_calibration,
    gather_losses,
    gather_quotes,
)
from analysis.report.figures_recuts import draw_recuts, gather_recuts
from analysis.report.figures_redo import draw_redo, gather_redo
from analysis.report.figures_shelf import (
    draw_bars,
    gather_avoidable,
    gather_counts,
    gather_jobs,
    gather_shelf,
)
from analysis.report.figures_suggestions import (
    draw_suggestions,
    gather_sensitivity,
    gather_suggestions,
    gather_surcharges,
)
from analysis.report.figures_trends import draw_trends, gather_trends
from analysis.report.figures_variances import draw_variances, gather_variances
from analysis.report.grids import FigureInfo, Grid
from analysis.report.look import without_title
from analysis.report.results import Review
from analysis.report.vehicles import basis

# A table of more rows than this is folded; on paper it is open.
MOST_OPEN_ROWS: Final = 16
# The same where the table stands in the place of a chart.
MOST_ROWS_ALONE: Final = 25


@dataclass(frozen=True)
class Block:
    """A figure on the page: its finding, and its chart.

    `chart` is empty where there is nothing to draw, or where the table says it all.
    """

    key: str
    info: FigureInfo
    caution: str
    chart: str
    height: int

    @property
    def pictures(self) -> tuple[tuple[str, Markup], ...]:
        """Pictures that are drawn as they are, each with its title."""
        drawn: tuple[tuple[str, str], ...] = getattr(self.info, "pictures", ())
        # Made by this package, of text that was escaped there.
        return tuple((title, Markup(svg)) for title, svg in drawn)  # noqa: S704

    @property
    def open_grids(self) -> tuple[Grid, ...]:
        """The tables that stand open: the first, where it is short."""
        most = MOST_OPEN_ROWS if self.chart or self.info.line else MOST_ROWS_ALONE
        return tuple(grid for grid in self.info.grids[:1] if len(grid.rows) <= most)

    @property
    def folded_grids(self) -> tuple[Grid, ...]:
        """The other tables."""
        return self.info.grids[len(self.open_grids) :]


@dataclass(frozen=True)
class Section:
    """A part of the page with its figures; `caution` stands in front of all of them."""

    key: str
    title: str
    lead: str
    blocks: tuple[Block, ...]
    caution: str = ""


def sections_of(review: Review) -> tuple[Section, ...]:
    """Every section with its figures, in order."""
    return (
        _money(review),
        _prices(review),
        _governs(review),
        _hours(review),
        _overruns(review),
        _film(review),
        _saving(review),
        _counter(review),
        Section(
            "redo",
            "Work done over",
            "First-time jobs that had to be done over, with how sure the share is.",
            (_block("redo-rate", gather_redo(review), draw_redo),),
        ),
        _people(review),
    )


def _money(review: Review) -> Section:
    """What the quarter left, what moved it, and who earned it."""
    return Section(
        "money",
        "Money",
        "What the quarter left, line by line, and which services, classes and films earned it.",
        (
            _block("statement", gather_statement(review), draw_statement),
            _block("bridge", gather_bridge(review), draw_bridge),
            *(
                _block(f"variances-{by}", gather_variances(review, by), draw_variances)
                for by in ("service", "class")
            ),
            *(
                _block(f"margin-{by}", gather_full_margin(review, by), draw_full_margin)
                for by in ("service", "class", "film")
            ),
        ),
        caution=MONEY_CAUTION,
    )


def _hours(review: Review) -> Section:
    """Sums of hours, actual against quoted."""
    return Section(
        "hours",
        "Hours",
        "What was worked against what was quoted. First-time jobs; the ratio is that of the "
        "sums, so a long job weighs more than a short one.",
        (
            _block("hours-service", gather_hours(review, "service"), draw_hours),
            _block("hours-class", gather_hours(review, "class"), draw_hours),
            _block("hours-task", gather_tasks(review), draw_tasks),
        ),
    )


def _film(review: Review) -> Section:
    """Where film went, what was lost of it, and what lies on the shelf."""
    return Section(
        "film",
        "Film",
        "Where all film went, and what was lost of the film that was cut.",
        (
            *(
                _block(f"flow-{measure}", gather_flow_picture(review, measure), draw_flow_picture)
                for measure in (AREA, COST)
            ),
            _block("causes", gather_causes(review), draw_causes),
            *(
                _block(f"waste-{by}", gather_waste(review, by), draw_stacks)
                for by in ("class", "service", "film", "panel", "width")
            ),
            _block("flows", gather_flows(review), draw_stacks),
            _block("counts", gather_counts(review), draw_bars),
            _block("shelf", gather_shelf(review), draw_bars),
        ),
    )


def _people(review: Review) -> Section:
    """Hours of people, with the caution that goes before all of them."""
    return Section(
        "people",
        "People",
        "Who needs how long, on like jobs and as sums: to plan the week and to see where "
        "training helps.",
        (
            _block("people-pooled", gather_people(review), draw_people, caution=""),
            _block("hours-installer", gather_hours(review, "installer"), draw_hours, caution=""),
        ),
        caution=STAFF_CAUTION,
    )


def _prices(review: Review) -> Section:
    """What to ask, what customers do at another price, and what came of past prices."""
    return Section(
        "prices",
        "Prices",
        "What to ask next quarter, why, and what came of the prices asked before. To decide: fill "
        "in new prices on the sheet 'Price sheet' of review.xlsx, then run the command decide.",
        (
            _block("suggestions", gather_suggestions(review), draw_suggestions, caution=""),
            _block("surcharges", gather_surcharges(review)),
            _block("outlook", gather_outlook(review), draw_outlook),
            _block("demand", gather_demand(review), draw_demand),
            _block("seasons", gather_seasons(review), draw_seasons),
            _block("sensitivity", gather_sensitivity(review)),
            _block("follow-up", gather_follow_up(review), draw_follow_up),
        ),
        caution=PRICE_CAUTION,
    )


def _governs(review: Review) -> Section:
    """What is short, and what that makes of the services."""
    return Section(
        "capacity",
        "Hours that are short",
        "How full the shop is, what an hour earns with each service, and what another mix would "
        "have earned in the same hours.",
        (
            _block("use", gather_use(review), draw_use),
            _block("earning", gather_earning(review), draw_earning),
            _block("mix", gather_mix(review), draw_mix),
        ),
    )


def _saving(review: Review) -> Section:
    """What to do about film."""
    return Section(
        "saving",
        "What to save on film, and what to order",
        "What to order now, how to lay out and how large to cut, and which film is dear once it is "
        "on. Estimates are from all records up to the quarter's end; what cannot be told says so.",
        (
            _block("orders", gather_orders(review), draw_orders),
            _block("avoidable", gather_avoidable(review), draw_bars),
            _block("layout-jobs", gather_jobs(review)),
            _block("layout-example", gather_example(review)),
            _block("best-margin", gather_best_allowance(review), draw_best_allowance),
            _block("recuts", gather_recuts(review), draw_recuts),
            _block("installed", gather_installed(review), draw_installed),
            _block("swaps", gather_swaps(review), draw_swaps),
            _block("trends", gather_trends(review), draw_trends),
            _block("prices", gather_prices(review), draw_prices),
        ),
    )


def _counter(review: Review) -> Section:
    """Does the counter sale pay, why, and at what prices; without any sale that is said once."""
    verdicts = _block("counter-verdicts", gather_counter_verdicts(review), draw_counter_verdicts)
    is_sold = isinstance(review.results.get("counter_verdicts"), pd.DataFrame)
    why = _why_counter(review) if is_sold else ()
    return Section(
        "counter",
        "Counter sale of film",
        "Whether a piece of film, sold to somebody who fits it alone, leaves anything, once the "
        "installs that it displaces and those that it brings are counted; and what to ask for it.",
        (verdicts, *why, _block("kits", gather_kits(review))),
    )


def _why_counter(review: Review) -> tuple[Block, ...]:
    return (
        _block("counter-sale", gather_counter_sale(review), draw_counter_sale),
        _block("displaced", gather_displaced(review), draw_displaced),
        _block("unknowns", gather_unknowns(review), draw_unknowns),
        _block("counter-quarters", gather_counter_quarters(review), draw_counter_quarters),
        _block("cut-film-prices", gather_cut_film_prices(review)),
    )


def _overruns(review: Review) -> Section:
    return Section(
        "overruns",
        "Which vehicles run over, and what to quote",
        f"What the finished jobs teach about the next ones. {basis(review)} Sums of a period say "
        "so in their heading.",
        (
            _block("vehicles", gather_vehicles(review), draw_vehicles),
            _block("flagged-tasks", gather_flagged_tasks(review), draw_over_hours),
            _block("cells", gather_cells(review), draw_cells),
            _block("next-quotes", gather_quotes(review)),
            _block("calibration", gather_calibration(review), draw_calibration),
            _block("losses", gather_losses(review), draw_losses),
            _block("drift", gather_drift(review), draw_drift),
            _block("learning", gather_learning(review), draw_learning),
            _block("spread", gather_spread(review)),
            _block("pulls", gather_pulls(review)),
        ),
    )


def _block(
    key: str,
    info: FigureInfo,
    draw: Callable[[Any], Any] | None = None,
    *,
    caution: str | None = None,
) -> Block:
    """A block of a figure; without `draw` its tables alone. `caution` replaces the figure's own."""
    caution = getattr(info, "caution", "") if caution is None else caution
    if info.line or draw is None:
        return Block(f"chart-{key}", info, caution, "", 0)
    chart = without_title(draw(info))
    text = str(plotly.io.to_json(chart, validate=False, engine="json"))
    return Block(f"chart-{key}", info, caution, text, int(chart["layout"]["height"]))
