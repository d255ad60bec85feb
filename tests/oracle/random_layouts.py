"""Days of a random shop on which several pieces of one film are cut off one width.

The pieces go beside each other, above each other, or not at all; for one job or for two; with and
without kept strips. No day holds more pieces than every packing of which can be tried.
"""

from __future__ import annotations

from datetime import date, timedelta
from functools import partial

from .random_film import PANELS, Film, FilmRecords, Row

LAY_DAYS = 12
# Inches along and across: pairs and threes that fill a roll of 60, 54 or 48 to the edge, and more.
SIZES = (
    (40, 30),
    (26, 30),
    (33, 20),
    (70, 20),
    (24, 36),
    (50, 18),
    (31, 24),
    (20, 12),
    (47, 48),
    (28, 27),
    (12.5, 41),
    (30, 54),
)


def directional_films(seed: int) -> list[str]:
    """Films of the shop whose pieces keep their direction."""
    return [[], ["VF-RED"], ["RT-BLACK", "PF-CLEAR"]][seed % 3]


def plan_layouts(shop: FilmRecords) -> None:
    """Some days, two before a job begins, on which pieces of it (and of the next job) are cut."""
    job_ids = list(dict.fromkeys(row["job_id"] for row in shop.rows["jobs"]))
    started = {row["job_id"]: date.fromisoformat(row["started_on"]) for row in shop.rows["jobs"]}
    for position in sorted(shop.random.sample(range(3, len(job_ids) - 1), LAY_DAYS)):
        for_jobs = job_ids[position : position + shop.random.choice((1, 2))]
        on = started[job_ids[position]] - timedelta(days=2)
        shop.at(on, partial(cut_pieces, shop, shop.random.choice(shop.films), for_jobs))


def cut_pieces(shop: FilmRecords, film: Film, for_jobs: list[str], on: date) -> None:
    """Two to four pieces in as many cuts or fewer, some with a strip kept beside the piece."""
    width = shop.random.choice(film.widths)
    left = shop.random.choice((2, 3, 3, 4))
    cuts = 0
    while left > 0:
        pieces = min(left, shop.random.choice((1, 1, 1, 2)))
        left -= pieces
        cut_piece(shop, film, width, pieces, for_jobs[cuts % len(for_jobs)], on)
        cuts += 1


def cut_piece(
    shop: FilmRecords, film: Film, width: int, pieces: int, job_id: str, on: date
) -> None:
    """One cut with its pieces behind each other; a few are recuts, off the shelf, not measured."""
    shop.cut += 1
    along, across = shop.random.choice(SIZES)
    pulled = pieces * along + shop.random.choice((0, 0, 1.5))
    row: Row = {
        "cut_id": f"C{shop.cut:04d}",
        "cut_on": str(on),
        "job_id": job_id,
        "film": film.code,
        "panel": shop.random.choice(PANELS),
        "pulled_length": shop.length(pulled),
        "pulled_width": shop.length(width),
        "pieces": str(pieces),
        "piece_length": shop.length(along),
        "piece_width": shop.length(across),
        "finished_length": shop.length(along - 3),
        "finished_width": shop.length(across - 2.5),
    }
    kept = 0.0
    if across < width and shop.chance(0.3):
        strip = width - across - shop.random.choice((0, 1))
        kept = strip * pulled
        row["kept_width"], row["kept_length"] = shop.length(strip), shop.length(pulled)
    if shop.chance(0.1):
        part = "finished" if shop.sizes_pieces else "piece"
        row[f"{part}_length"] = row[f"{part}_width"] = ""
    if shop.chance(0.08):
        row["reason"] = "recut"
    if shop.chance(0.08):
        row["source"] = "offcut"
    shop.rows["cuts"].append(row)
    shop.use(film, pulled * width, kept, on)
