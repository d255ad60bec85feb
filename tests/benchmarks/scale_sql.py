"""The same tables in hand-written DuckDB SQL, for the records of `scale_shop`.

It knows of those records what the package has to find out: every entry and cut names its line,
nobody is without a wage, no roll is named, nothing is kept and nothing is short. First-in first-out
is then a cumulative sum: a pull costs what the film up to its end cost, less that up to its start.
"""

from __future__ import annotations

import duckdb
import pandas as pd

from analysis.records.model import Records

_TABLES = ("jobs", "hours", "cuts", "purchases", "rates", "overheads", "capacity")

_LABOUR = """
CREATE TEMP TABLE entries AS
SELECT h.job_id, h.line, h.worked_on, h.installer, h.task, h.hours,
       h.hours * r.wage * (CASE WHEN h.overtime THEN $overtime ELSE 1 END + $on_cost) AS cost
FROM hours h ASOF JOIN rates r
  ON h.installer = r.installer AND h.worked_on >= r.effective_from;
INSERT INTO entries
SELECT h.job_id, h.line, h.worked_on, h.installer, h.task, h.hours,
       h.hours * f.wage * (CASE WHEN h.overtime THEN $overtime ELSE 1 END + $on_cost)
FROM hours h JOIN (
  SELECT installer, min(effective_from) AS day, arg_min(wage, effective_from) AS wage
  FROM rates GROUP BY installer) f
  ON h.installer = f.installer AND h.worked_on < f.day;
CREATE TEMP TABLE labour AS
SELECT job_id, line, sum(hours) AS actual_hours,
       sum(CASE WHEN task = 'rework' THEN hours ELSE 0 END) AS rework_hours,
       sum(cost) AS labour_cost
FROM entries GROUP BY job_id, line;
CREATE TEMP TABLE bay AS
SELECT job_id, sum(longest) AS bay_hours FROM (
  SELECT job_id, max(hours) AS longest FROM (
    SELECT job_id, worked_on, installer, sum(hours) AS hours
    FROM entries GROUP BY job_id, worked_on, installer)
  GROUP BY job_id, worked_on)
GROUP BY job_id;
"""
_FILM = """
CREATE TEMP TABLE landed AS
SELECT p.item, p.kind, p.received_on, p.row, p.quantity * p.roll_width_m * p.roll_length_m AS area,
       p.quantity * p.unit_price - p.discount + coalesce(f.freight, 0) AS cost
FROM purchases p LEFT JOIN (
  SELECT invoice, sum(quantity * unit_price) AS freight
  FROM purchases WHERE kind = 'freight' GROUP BY invoice) f ON p.invoice = f.invoice
WHERE p.kind <> 'freight';
CREATE TEMP TABLE layers AS
SELECT item, cost / area AS unit, sum(area) OVER earlier - area AS area_before,
       sum(cost) OVER earlier - cost AS cost_before
FROM landed WHERE kind = 'film'
WINDOW earlier AS (PARTITION BY item ORDER BY received_on, row);
CREATE TEMP TABLE pulled AS
SELECT c.*, pulled_length_m * pulled_width_m AS area,
       sum(pulled_length_m * pulled_width_m)
         OVER (PARTITION BY film ORDER BY cut_on, row) AS reached
FROM cuts c;
CREATE TEMP TABLE costed AS
SELECT p.*, reached_cost - coalesce(lag(reached_cost) OVER (PARTITION BY film ORDER BY reached), 0)
         AS film_cost
FROM (
  SELECT p.*, l.cost_before + (p.reached - l.area_before) * l.unit AS reached_cost
  FROM pulled p ASOF JOIN layers l ON p.film = l.item AND p.reached >= l.area_before) p;
CREATE TEMP TABLE film AS
SELECT job_id, line, sum(film_cost) AS film_cost FROM costed GROUP BY job_id, line;
"""
_RATES = """
CREATE TEMP TABLE quarters AS
SELECT DISTINCT date_trunc('quarter', finished_on) AS quarter FROM jobs;
CREATE TEMP TABLE quarter_rates AS
SELECT quarter, overheads / practical AS overhead_rate, bought / worked AS consumables_rate
FROM (
  SELECT quarter,
    (SELECT sum(o.amount) FROM overheads o WHERE o.month IN (SELECT month FROM capacity)
       AND o.month BETWEEN quarter - INTERVAL 9 MONTH AND quarter + INTERVAL 2 MONTH) AS overheads,
    (SELECT sum(c.installer_hours) FROM capacity c WHERE c.month IN (SELECT month FROM overheads)
       AND c.month BETWEEN quarter - INTERVAL 9 MONTH AND quarter + INTERVAL 2 MONTH) AS practical,
    (SELECT sum(cost) FROM landed WHERE kind = 'consumable' AND
       received_on >= quarter - INTERVAL 9 MONTH AND received_on < quarter + INTERVAL 3 MONTH)
       AS bought
  FROM quarters)
JOIN (
  SELECT q.quarter, sum(m.hours) AS worked FROM quarters q JOIN (
    SELECT date_trunc('month', worked_on) AS month, sum(hours) AS hours
    FROM entries GROUP BY 1) m
  ON m.month >= q.quarter - INTERVAL 9 MONTH AND m.month < q.quarter + INTERVAL 3 MONTH
  GROUP BY q.quarter) USING (quarter);
"""
_FEES = """
CREATE TEMP TABLE fees AS
WITH paid AS (
  SELECT job_id, sum(invoiced_price) AS total,
         floor((sum(invoiced_price) * $percent / 100 + $fixed) * 100 + 0.5 + 1e-7) AS cents
  FROM jobs WHERE payment = 'card' AND invoiced_price > 0 GROUP BY job_id),
shared AS (
  SELECT j.row, j.job_id, cents, invoiced_price / total * cents AS exact,
         floor(invoiced_price / total * cents + 1e-6) AS base
  FROM jobs j JOIN paid USING (job_id))
SELECT row, (base + CASE WHEN
    row_number() OVER (PARTITION BY job_id ORDER BY -round(exact - base, 6), row)
    <= cents - sum(base) OVER (PARTITION BY job_id) THEN 1 ELSE 0 END) / 100 AS payment_fee
FROM shared;
"""
_JOBS = """
CREATE TEMP TABLE job_costs AS
SELECT *, contribution - overhead_cost AS full_margin FROM (
  SELECT *, material_margin - labour_cost AS contribution FROM (
    SELECT *, net_revenue - film_cost - consumables_cost AS material_margin FROM (
      SELECT j.row, j.job_id, j.line, j.service, j.vehicle_class, j.make, j.model, j.film,
             j.quoted_hours, l.actual_hours, l.rework_hours, l.labour_cost, f.film_cost,
             coalesce(p.payment_fee, 0) AS payment_fee,
             j.invoiced_price - coalesce(p.payment_fee, 0) AS net_revenue,
             b.bay_hours * l.actual_hours / sum(l.actual_hours) OVER (PARTITION BY j.job_id)
               AS bay_hours,
             l.actual_hours * q.overhead_rate AS overhead_cost,
             l.actual_hours * q.consumables_rate AS consumables_cost
      FROM jobs j
      JOIN labour l USING (job_id, line)
      JOIN film f USING (job_id, line)
      JOIN bay b USING (job_id)
      JOIN quarter_rates q ON q.quarter = date_trunc('quarter', j.finished_on)
      LEFT JOIN fees p ON p.row = j.row)))
ORDER BY row;
"""
_MARGIN = """
SELECT {key}, count(*) AS jobs, sum(net_revenue) AS net_revenue, sum(film_cost) AS film_cost,
  sum(consumables_cost) AS consumables_cost, sum(labour_cost) AS labour_cost,
  sum(overhead_cost) AS overhead_cost, sum(material_margin) AS material_margin,
  sum(contribution) AS contribution, sum(actual_hours) AS actual_hours, sum(bay_hours) AS bay_hours,
  sum(full_margin) AS full_margin, sum(full_margin) / sum(net_revenue) AS full_margin_share,
  sum(material_margin) / sum(bay_hours) AS material_margin_per_bay_hour
FROM job_costs GROUP BY {key} ORDER BY {key}
"""
_HOURS = """
SELECT {key}, count(*) AS jobs, sum(quoted_hours) AS quoted_hours,
  sum(actual_hours) AS actual_hours, sum(rework_hours) AS rework_hours,
  sum(labour_cost) AS labour_cost, sum(actual_hours) / sum(quoted_hours) - 1 AS overrun_share,
  (sum(actual_hours) - sum(quoted_hours)) * sum(labour_cost) / sum(actual_hours) AS overrun_cost
FROM job_costs GROUP BY {key} ORDER BY {key}
"""
_WASTE = """
SELECT vehicle_class, sum(area) AS consumed_area_m2, sum(finished) AS finished_area_m2,
  sum(CASE WHEN reason = 'first' THEN area - piece ELSE 0 END) AS side_loss_area_m2,
  sum(CASE WHEN reason = 'first' THEN piece - finished ELSE 0 END) AS handling_margin_area_m2,
  sum(CASE WHEN reason = 'recut' THEN area ELSE 0 END) AS recut_area_m2,
  sum(area - finished) AS waste_area_m2,
  sum(film_cost * (area - finished) / area) AS waste_cost, count(*) AS cuts,
  sum(area - finished) / sum(area) AS waste_share
FROM (
  SELECT j.vehicle_class, c.reason, c.area, c.film_cost, c.pieces * c.piece_length_m
    * c.piece_width_m AS piece, CASE WHEN c.reason = 'first'
    THEN c.pieces * c.finished_length_m * c.finished_width_m ELSE 0 END AS finished
  FROM costed c JOIN jobs j USING (job_id, line))
GROUP BY vehicle_class ORDER BY vehicle_class
"""


def loaded(records: Records, threads: int = 1) -> duckdb.DuckDBPyConnection:
    """A database in memory with the records that the queries read."""
    db = duckdb.connect(config={"threads": threads})
    for name in _TABLES:
        frame = records[name]
        db.register("frame", frame)
        db.execute(f"CREATE TABLE {name} AS SELECT * FROM frame")  # noqa: S608  fixed names
        db.unregister("frame")
    return db


def by_sql(db: duckdb.DuckDBPyConnection, records: Records) -> dict[str, pd.DataFrame]:
    """The tables of `by_package`, with the columns that are compared."""
    labour, fees = records.settings.labour, records.settings.fees
    given = {
        _LABOUR: {"overtime": labour.overtime_multiplier, "on_cost": labour.on_cost},
        _FEES: {"percent": fees.card_percent, "fixed": fees.card_fixed},
    }
    for script in (_LABOUR, _FILM, _RATES, _FEES, _JOBS):
        for statement in script.split(";"):
            if statement.strip():
                wanted = {k: v for k, v in given.get(script, {}).items() if f"${k}" in statement}
                db.execute(statement, wanted)
    keys = {"service": "service", "class": "vehicle_class", "film": "film", "model": "make, model"}
    return {
        "job_costs": db.execute("SELECT * FROM job_costs ORDER BY row").df(),
        **{
            f"margin_by_{name}": db.execute(_MARGIN.format(key=keys[name])).df()
            for name in ("service", "class", "film")
        },
        **{
            f"hours_by_{name}": db.execute(_HOURS.format(key=keys[name])).df()
            for name in ("service", "class", "model")
        },
        "waste_by_class": db.execute(_WASTE).df(),
    }
