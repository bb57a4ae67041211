"""The manager's month as PDF: the same figures as the pages show, the same charts, the same bytes for the same edition."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.answers.selling import Totals
from pipeline.answers.summary import MonthSummary
from pipeline.errors import WrongCall, did_you_mean
from pipeline.paper.typeset import PAPERS, typeset
from pipeline.pictures import charts
from pipeline.pictures.files import chart_svg
from pipeline.pictures.palette import PAPER
from pipeline.pictures.units import plain

_TEMPLATE = Path(__file__).with_name("summary.typ")
_STYLE = charts.Style(look=PAPER, width=400)
"""Names beside the lines and numbers beside the bars take as much room again."""
_CHANGES_SAID = 5
_WIDE = {"layout family", "why", "what"}
_WORDY = {"job", "layout family", "why", "what", "branch"}


def summary_pdf(summary: MonthSummary, paper: str = "a4") -> bytes:
    """The summary as a PDF document.

    Args:
        paper: `a4` or `letter`.
    Raises: WrongCall: unknown paper.
    """
    if paper not in PAPERS:
        raise WrongCall("no such paper", got=paper, expected=" or ".join(PAPERS), do=did_you_mean(paper, PAPERS))
    return typeset(_TEMPLATE, summary_data(summary) | {"paper": PAPERS[paper]})


def summary_data(summary: MonthSummary) -> dict[str, Any]:
    """What the template is given: text, tables as text, charts as SVG."""
    month = f"{summary.first:%B %Y}"
    to = f", records to {summary.records_to}" if summary.records_to else ""
    return {
        "title": f"What sold in {month}",
        "workshop": summary.workshop,
        "description": f"Summary of {month}; edition {summary.edition}",
        "keywords": [f"{summary.first:%Y-%m}", f"edition {summary.edition}"],
        "date": {"year": summary.last.year, "month": summary.last.month, "day": summary.last.day},
        "about": f"Edition {summary.edition}{to}. Sold: ordered or delivered, by the day of the order.",
        "colours": {name: getattr(PAPER, name) for name in ("ink", "muted", "accent", "grid")},
        "parts": [_in_short(summary), _families(summary), _changes(summary), _quotes(summary), _quiet(summary)],
        "foot": f"{summary.workshop} · summary of {month} · edition {summary.edition}",
    }


def _part(
    heading: str, lines: Sequence[str], chart: Any = None, names: Sequence[str] = (), rows: Sequence[Sequence[str]] = ()
) -> dict[str, Any]:
    columns = [{"name": name, "wide": name in _WIDE, "number": name not in _WORDY} for name in names]
    picture = None if chart is None else {"svg": chart_svg(chart), "alt": chart.to_dict()["description"]}
    return {"heading": heading, "lines": list(lines), "chart": picture, "columns": columns, "rows": [list(row) for row in rows]}


def _in_short(summary: MonthSummary) -> dict[str, Any]:
    now, before = summary.totals, summary.year_before
    lines = [f"{now.words}: {now.jobs} jobs." if now.bodies else f"Nothing was sold in {summary.first:%B %Y}."]
    lines += [said for said in (_money(now), _hours(now)) if said]
    lines.append(f"The same month a year earlier: {before.bodies} bodies, {before.jobs} jobs{_earlier(before)}.")
    return _part("In short", lines)


def _money(totals: Totals) -> str:
    return f"Revenue {totals.revenue:,.0f}, known of {totals.jobs_priced} of {totals.jobs} jobs." if totals.revenue is not None else ""


def _hours(totals: Totals) -> str:
    if totals.labour_h is None:
        return ""
    return f"Labour {totals.labour_h:,.0f} hours, known of {totals.jobs_with_hours} of {totals.jobs} jobs."


def _earlier(totals: Totals) -> str:
    return f", revenue {totals.revenue:,.0f} known of {totals.jobs_priced}" if totals.revenue is not None else ""


def _families(summary: MonthSummary) -> dict[str, Any]:
    names = ("layout family", "bodies", "share", "length, mm", "mass, kg")
    rows = [
        [row["name"], plain(row["bodies"]), f"{100 * row['share']:.0f} %", _span(row, "length", "mm"), _span(row, "mass", "kg")]
        for row in summary.families.iter_rows(named=True)
    ]
    chart = charts.shares(summary.trend, _STYLE, "Which layout families sell?") if summary.trend.height else None
    lines = ["Lengths and masses are the middle 80 %."] if rows else ["No layout family has a sale this month."]
    return _part("Layout families", lines, chart, names, rows)


def _span(row: dict[str, Any], what: str, unit: str) -> str:
    low, high = row[f"{what}_low_{unit}"], row[f"{what}_high_{unit}"]
    if low is None:
        return "–"
    return plain(low) if round(low) == round(high) else f"{plain(low)} to {plain(high)}"


def _changes(summary: MonthSummary) -> dict[str, Any]:
    if summary.changes.is_empty():
        return _part("What changed", ["There are too few sales to compare two stretches of time."])
    real = summary.changes.filter(pl.col("changed"))["words"].to_list()
    lines = [f"Compared: {summary.changed_between}.", *(f"{words}." for words in real[:_CHANGES_SAID])]
    return _part(
        "What changed", lines if real else [*lines, "Nothing changed by more than chance."], charts.changes(summary.changes, _STYLE)
    )


def _quotes(summary: MonthSummary) -> dict[str, Any]:
    lines = [
        f"Of {row['quotes']} quotes so far, {row['ordered']} were ordered, {row['lost']} lost, {row['open_quotes']} are open"
        + (f"; the middle quote that is ordered takes {plain(row['order_days'])} days." if row["order_days"] is not None else ".")
        for row in summary.conversion.iter_rows(named=True)
    ]
    rows = [[row["reason"], plain(row["n"]), f"{100 * row['share']:.0f} %"] for row in summary.lost.iter_rows(named=True)]
    lines += ["Why quotes of this month were lost:"] if rows else []
    return _part("Quotes", lines or ["There is no quote yet."], None, ("why", "quotes", "share"), rows)


def _quiet(summary: MonthSummary) -> dict[str, Any]:
    if not summary.quiet_count:
        return _part("Quotes gone quiet", ["None is open for longer than its kind usually takes."])
    rows = [
        [
            row["job_id"],
            row["branch"] or "",
            plain(row["age_days"]),
            plain(row["usual_days"]),
            f"{row['price']:,.0f}" if row["price"] else "–",
        ]
        for row in summary.quiet.iter_rows(named=True)
    ]
    lines = [f"{summary.quiet_count} open quotes are older than their kind usually takes; the latest {len(rows)}:"]
    return _part("Quotes gone quiet", lines, None, ("job", "branch", "days open", "usual days", "price"), rows)
