"""The page for people who do not open notebooks: one file that asks nothing of any network.

`page_context` says what stands on it, `page.html` how; every text that a person typed is escaped
by the template, and a policy in the page's head lets no script run but its own two: the one that
draws, and the chart library that it unpacks.
"""

import base64
import gzip
import hashlib
import json
import re
from dataclasses import dataclass, fields
from functools import cache
from importlib.resources import files
from typing import Any

import jinja2
from plotly.offline import get_plotlyjs

from analysis.glossary import Entry, glossary_entries
from analysis.locale_text import MISSING
from analysis.report.answer import Answer
from analysis.report.cautions import CAUTIONS, DEFER
from analysis.report.grids import Grid
from analysis.report.numbers import Numbers, shop_name
from analysis.report.page_records import findings_grid, sources_grid
from analysis.report.page_sections import Section, sections_of
from analysis.report.results import Review
from analysis.report.sentences import FIRST, answers


@dataclass(frozen=True)
class Context:
    """Everything that the template prints."""

    shop: str
    quarter: str
    period: str
    year: str
    units: str
    fewest: int
    missing: str
    answers: tuple[Answer, ...]
    first: int
    sections: tuple[Section, ...]
    sources: Grid
    findings: Grid
    gaps: tuple[tuple[str, tuple[str, ...]], ...]
    cautions: tuple[tuple[str, str], ...]
    defer: str
    glossary: tuple[Entry, ...]


def render_page(review: Review) -> str:
    """The whole page as text. The same review gives the same bytes."""
    context = page_context(review)
    charts = {
        block.key: json.loads(block.chart)
        for section in context.sections
        for block in section.blocks
        if block.chart
    }
    library, script = get_plotlyjs(), _part("page.js")
    environment = jinja2.Environment(
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    environment.filters["together"] = together
    template = environment.from_string(_part("page.html"))
    return template.render(
        {each.name: getattr(context, each.name) for each in fields(context)},
        css=_part("page.css"),
        library=packed(library),
        script=script,
        policy=_policy((library, script)),
        charts=json_for_script(charts),
    )


def together(text: str) -> str:
    """A sentence in which no line breaks between a number and its unit, or after its minus."""
    text = re.sub(r"(?<=\d) (?=(?:h|sq ft|m²)\b)", "\u00a0", text)
    return text.replace("\u2212", "\u2212\u2060")


def page_context(review: Review) -> Context:
    """What stands on the page, before it is HTML."""
    say = Numbers(review.settings)
    quarter = review.quarter
    return Context(
        shop=shop_name(review.settings) or "The shop",
        quarter=quarter.label,
        period=say.span(quarter.first_day, quarter.last_day),
        year=say.span(quarter.year_first_day, quarter.last_day),
        units=f"Money in {review.settings.currency}, film in {say.area_unit}, time in hours (h)",
        fewest=review.settings.pricing.fewest_jobs,
        missing=MISSING,
        answers=answers(review),
        first=FIRST,
        sections=sections_of(review),
        sources=sources_grid(review),
        findings=findings_grid(review),
        gaps=tuple((each.line, each.missing) for each in review.unavailable()),
        cautions=CAUTIONS,
        defer=DEFER,
        glossary=tuple(glossary_entries()),
    )


def json_for_script(value: Any) -> str:
    """JSON that may stand inside a script element: nothing in it can end the element."""
    text = json.dumps(value, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    for sign in ("<", ">", "&", "\u2028", "\u2029"):
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return text


@cache
def packed(script: str) -> str:
    """A script as the page carries it: gzip in base64, the same bytes on every day."""
    return base64.b64encode(gzip.compress(script.encode(), mtime=0)).decode()


def _part(name: str) -> str:
    return files("analysis.report").joinpath(name).read_text(encoding="utf-8")


def _policy(scripts: tuple[str, ...]) -> str:
    """A content security policy: no request to anywhere, and no script but these."""
    hashes = [
        base64.b64encode(hashlib.sha256(script.encode()).digest()).decode() for script in scripts
    ]
    allowed = " ".join(f"'sha256-{each}'" for each in hashes)
    return (
        f"default-src 'none'; script-src {allowed}; style-src 'unsafe-inline'; "
        "img-src data: blob:; base-uri 'none'; form-action 'none'"
    )
