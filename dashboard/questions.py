"""Small questions in the one form that pages remember answers by: `question(cursor, settings, *args)`."""

from __future__ import annotations

from typing import Any

import numpy as np
import polars as pl

from dashboard import live
from dashboard.parts.rows import rows_of
from pipeline.answers import families, finder, margins, near, selling
from pipeline.answers.early import OnVehicle, cases_of
from pipeline.answers.files import Rows
from pipeline.answers.filters import Filters
from pipeline.frames import rows
from pipeline.settings import Settings
from pipeline.trends.waiting import Curve


def calls(con: Any, _settings: Settings) -> dict[str, str]:
    """What people call each vehicle, upgrade, item and family."""
    return selling.labels(con)


def curve_points(curve: Curve | None) -> list[dict[str, Any]]:
    """The share of quotes ordered by each number of days, as rows for a line of steps: the days on which it moves, and the last."""
    if curve is None:
        return []
    steps = np.column_stack([curve.days, curve.share, curve.low, curve.high])
    stays = np.insert((np.diff(steps[:, 1:], axis=0) == 0).all(axis=1), 0, False)
    stays[-1] = False
    told = steps[~stays].tolist()
    return [{"value": "all quotes", "days": days, "share": share, "low": low, "high": high} for days, share, low, high in told]


def has_families(con: Any, _settings: Settings) -> bool:
    """Whether a fit has gathered layouts into families."""
    return bool(con.execute("SELECT 1 FROM information_schema.tables WHERE table_name = 'families'").fetchall())


def family_names(con: Any, settings: Settings) -> dict[int, str]:
    """Names of the families that live, by number."""
    return (
        dict(con.execute("SELECT family, name FROM families WHERE live ORDER BY family").fetchall()) if has_families(con, settings) else {}
    )


def family_items(con: Any, _settings: Settings, family: int) -> pl.DataFrame:
    return families.family_items(con, family)


def family_changes(con: Any, _settings: Settings) -> pl.DataFrame:
    return families.family_changes(con)


def number_of_families(con: Any, _settings: Settings) -> pl.DataFrame:
    return families.number_of_families(con)


def found_page(con: Any, _settings: Settings, search: finder.Search, page: int, size: int) -> finder.Page:
    return finder.find(con, search, page, size)


def found_rows(con: Any, _settings: Settings, search: finder.Search) -> pl.DataFrame:
    return finder.find_all(con, search)


def opened(con: Any, _settings: Settings, job_id: str) -> finder.JobFile:
    return finder.open_job(con, job_id)


def margins_spread(con: Any, settings: Settings, filters: Filters, load: str, limit: str) -> near.Spread:
    """How much margin delivered jobs kept, through the filters."""
    return near.spread(con, live.margins(), filters, load, limit, settings.limits)


def margins_listed(con: Any, settings: Settings, filters: Filters, load: str, limit: str, span: Any, most: int | None) -> tuple[int, Rows]:
    """How many of these jobs there are (in a span of margins, where one is given), and the tightest of them."""
    count, found = near.tightest(con, live.margins(), filters, load, limit, span, most)
    return count, rows_of(found, calls(con, settings), ("vehicle_id",))


def newest_near(con: Any, settings: Settings, most: int) -> Rows:
    """The newest delivered jobs near or over the whole vehicle's rating with the travel load."""
    return rows_of(near.newest_near(con, live.margins(), settings.limits, most), calls(con, settings), ("vehicle_id",))


def margins_by(con: Any, settings: Settings, filters: Filters, load: str, limit: str, grouping: str) -> pl.DataFrame:
    """The same by vehicle, year, length, branch or family."""
    return near.by_group(con, live.margins(), filters, load, limit, grouping, settings)


def quiet_quotes(con: Any, settings: Settings, filters: Filters) -> pl.DataFrame:
    """Open quotes gone quiet; what is usual is one answer for all filters."""
    return selling.quiet_quotes(con, settings, filters, live.ask(selling.usual_days))


def what_changed(con: Any, settings: Settings, filters: Filters) -> pl.DataFrame:
    """What changed between the two windows that the page tells of."""
    return selling.what_changed(con, settings, filters, live.ask(selling.window, filters))


def mass_drivers(con: Any, settings: Settings, filters: Filters) -> pl.DataFrame:
    """What makes bodies heavier or lighter between the same two windows."""
    return selling.mass_drivers(con, settings, filters, live.ask(selling.window, filters))


def case_of_job(edition: Any, _model: Any, settings: Settings, job_id: str) -> OnVehicle | None:
    """One past job on its vehicle with the travel load of the settings."""
    checked = margins.open_job(margins.past_jobs(edition, settings, (job_id,)), job_id, settings.travel)
    return cases_of(checked)[0] if checked else None


def tickets_beside(edition: Any, _model: Any, settings: Settings) -> list[dict[str, Any]]:
    """Tickets of finished and loaded vehicles beside what was added up for the same state."""
    past = margins.past_jobs(edition, settings, margins.jobs_with_tickets(edition))
    return list(rows(margins.tickets_beside(past)))


def also_usual(con: Any, settings: Settings, items: tuple[str, ...]) -> pl.DataFrame:
    """What a draft with these items usually also has and has not."""
    return selling.usually_also(con, settings, items)


def family_margins(con: Any, settings: Settings, filters: Filters, family: int) -> pl.DataFrame:
    """Margins to GVM of one family by load."""
    return families.family_margins(con, settings, live.margins().on(con), filters, family)
