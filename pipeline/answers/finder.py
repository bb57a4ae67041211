"""The job finder: past bodies by any combination of what is known of them, a page at a time, and one job opened."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import polars as pl

from pipeline.answers.doubts import STILL_DOUBTED, has_doubts
from pipeline.answers.filters import Filters
from pipeline.contract import STATUSES, TABLES, ZONES
from pipeline.errors import Fault, WrongCall, did_you_mean
from pipeline.layouts.alike import Wanted
from pipeline.layouts.views import in_order, run, text_of

if TYPE_CHECKING:
    import duckdb

STANDINGS = ("inside", "edge", "outside")
SORTS = {
    "newest": "dated_on desc nulls last, job_id desc, body",
    "oldest": "dated_on nulls last, job_id, body",
    "longest": "length_mm desc, job_id, body",
    "heaviest": "measured_kg desc nulls last, job_id, body",
    "likest": "likeness desc, job_id, body",
}
FOUND = (
    "job_id",
    "revision",
    "body",
    "kind",
    "vehicle",
    "branch",
    "status",
    "dated_on",
    "length_mm",
    "measured_kg",
    "measured_by",
    "family",
    "suspect",
    "list_short",
    "counted",
    "standing",
    "likeness",
)
MOST_A_PAGE = 500


@dataclass(frozen=True)
class ItemAt:
    """An item that must be in, at a zone where one is named."""

    item_id: str
    zone: str | None = None


@dataclass(frozen=True)
class Search:
    """What to find; an empty field asks for nothing. Words are looked for in the note, all of them, in any case."""

    filters: Filters = field(default_factory=Filters)
    items: tuple[ItemAt, ...] = ()
    without: tuple[str, ...] = ()
    length_from_mm: float | None = None
    length_to_mm: float | None = None
    mass_from_kg: float | None = None
    mass_to_kg: float | None = None
    years: tuple[int, ...] = ()
    statuses: tuple[str, ...] = ()
    words: str = ""
    job: str = ""
    standings: tuple[str, ...] = ()
    suspect: bool | None = None
    list_short: bool | None = None
    like: Wanted | None = None
    sort: str = "newest"

    def faults(self) -> list[Fault]:
        """Everything about the search that cannot be."""
        faults = []
        for what, given, known in (
            ("status", self.statuses, STATUSES),
            ("standing", self.standings, STANDINGS),
            ("zone", tuple(item.zone for item in self.items if item.zone), ZONES),
            ("order", (self.sort,), tuple(SORTS)),
        ):
            faults += [
                Fault(f"no {what} {word!r}", expected=" ".join(known), do=did_you_mean(word, known)) for word in given if word not in known
            ]
        if self.sort == "likest" and self.like is None:
            faults.append(Fault("nothing to be like", do="name a draft, or choose another order"))
        return faults


@dataclass(frozen=True)
class Page:
    """One page of what was found: FOUND rows, how many there are in all, and the page's number from 1."""

    rows: pl.DataFrame
    found: int
    number: int
    size: int

    @property
    def pages(self) -> int:
        return max(1, -(-self.found // self.size))


def find(con: duckdb.DuckDBPyConnection, search: Search, page: int = 1, size: int = 50) -> Page:
    """One page of the bodies searched for.

    Raises: WrongCall: all that is wrong with the search, at once.
    """
    faults = search.faults()
    if not 1 <= size <= MOST_A_PAGE or page < 1:
        faults.append(Fault("page of results", got=f"page {page} of {size} rows", expected=f"page 1 and on, 1 to {MOST_A_PAGE} rows"))
    if faults:
        raise WrongCall(faults)
    head, body, values = _query(search)
    # the first rows in order and how many there are in all: two questions, each far cheaper than every row with the number beside it
    rows = run(
        con,
        _told(head, f"{body} order by {SORTS[search.sort]} limit $size offset $skip", search),
        values | {"size": size, "skip": (page - 1) * size},
    )
    found = run(con, f"{head} select count(*) as n {body}", values)["n"][0]
    return Page(rows.select(FOUND), int(found), page, size)


def find_all(con: duckdb.DuckDBPyConnection, search: Search) -> pl.DataFrame:
    """Every row that `find` would page through, for a file.

    Raises: WrongCall: as `find`.
    """
    if faults := search.faults():
        raise WrongCall(faults)
    head, body, values = _query(search)
    return run(con, _told(head, body, search), values).select(FOUND)


def _told(head: str, part: str, search: Search) -> str:
    """The query for FOUND of a part of what was found, in order."""
    named = f"select p.*, v.label as vehicle from (select b.* {part}) as p inner join vehicles as v on v.vehicle_id = p.vehicle_id"
    return f"{head} select {', '.join(FOUND)} from ({named}) as named order by {SORTS[search.sort]}"


def _query(search: Search) -> tuple[str, str, dict[str, Any]]:
    """The query's head (common table expressions), its body from `from` to `where`, and the values bound."""
    last = "liked" if search.like else "findable"
    head = ",\n".join(f"{view} as (\n{text_of(view)}\n)" for view in in_order(last))
    likeness = "" if search.like else ", cast(null as double) as likeness"
    conditions, values = _conditions(search)
    found = f"select b.*{likeness} from {last} as b"
    where = " and ".join(conditions) or "true"
    if search.like:
        values |= search.like.values()
    return f"with {head},\nfound as (\n{found}\n)", f"from found as b where {where}", values


def _conditions(search: Search) -> tuple[list[str], dict[str, Any]]:
    clause = search.filters.clause("dated")
    conditions = [clause.where] if clause.where else []
    values: dict[str, Any] = dict(clause.values)
    for name, sign in (("length_from_mm", "b.length_mm >="), ("length_to_mm", "b.length_mm <="), ("mass_from_kg", "b.measured_kg >="),
                       ("mass_to_kg", "b.measured_kg <="), ("suspect", "b.suspect ="), ("list_short", "b.list_short =")):  # fmt: skip
        if getattr(search, name) is not None:
            conditions.append(f"{sign} ${name}")
            values[name] = getattr(search, name)
    for name, column in (("years", "b.year"), ("statuses", "b.status"), ("standings", "b.standing")):
        if chosen := getattr(search, name):
            names = [f"{name}_{place}" for place in range(len(chosen))]
            conditions.append(f"{column} in ({', '.join(f'${each}' for each in names)})")
            values |= dict(zip(names, chosen, strict=True))
    for place, word in enumerate(search.words.split()):
        conditions.append(f"exists ({_NOTE} and contains(lower(n.note), lower($word_{place})))")
        values[f"word_{place}"] = word
    if search.job.strip():
        conditions.append("contains(lower(b.job_id), lower($job))")
        values["job"] = search.job.strip()
    for place, item in enumerate(search.items):
        at = f" and x.zone = $zone_{place}" if item.zone else ""
        conditions.append(f"b.list in (select x.list from list_lines as x where x.item_id = $item_{place}{at})")
        values |= {f"item_{place}": item.item_id, f"zone_{place}": item.zone}
    for place, item_id in enumerate(search.without):
        conditions.append(f"b.list not in (select x.list from list_lines as x where x.item_id = $without_{place})")
        values[f"without_{place}"] = item_id
    return conditions, values


_NOTE = "select 1 from jobs as n where n.job_id = b.job_id and n.revision = b.revision"


@dataclass(frozen=True)
class JobFile:
    """One job with all that is known of it; every row says where it came from (`hand_in, file, sheet, line`).

    `replaced` holds rows that newer ones replaced, `marks` what is suspect about it, `families` the layout family of each
    current body.
    """

    job_id: str
    jobs: pl.DataFrame
    bodies: pl.DataFrame
    fitout: pl.DataFrame
    on_vehicle: pl.DataFrame
    weighings: pl.DataFrame
    replaced: pl.DataFrame
    marks: pl.DataFrame
    families: pl.DataFrame


_ORDER = {
    "jobs": "length(t.revision), t.revision",
    "bodies": "length(t.revision), t.revision, t.body",
    "fitout": "length(t.revision), t.revision, t.body, t.source_id, t.line",
    "on_vehicle": "t.source_id, t.line",
    "weighings": "t.weighed_on, t.ticket",
}


def open_job(con: duckdb.DuckDBPyConnection, job_id: str) -> JobFile:
    """A job with all its revisions, bodies, fit-out, tickets, earlier rows and sources.

    Raises: WrongCall: there is no such job.
    """
    parts = {table: run(con, _records_of(table), {"job_id": job_id}) for table in _ORDER}
    if parts["jobs"].is_empty():
        raise WrongCall(f"no job {job_id!r}", do="look for it by a part of its number")
    replaced = "select * from history where key = $job_id or starts_with(key, $job_id || '/') order by \"table\", key, file, line"
    marks = 'select table_name as "table", key, rule, why from suspects where job_id = $job_id'
    if has_doubts(con):
        marks += f" union all select \"table\", key, rule, why from {STILL_DOUBTED} where starts_with(key, $job_id || '/')"
    marks += ' order by "table", key, rule'
    families = (
        "select m.body, m.family, f.name, m.mirrored, m.distance from family_of_body as m "
        "inner join families as f on f.family = m.family where m.job_id = $job_id order by m.body"
    )
    extra = {name: run(con, sql, {"job_id": job_id}) for name, sql in (("replaced", replaced), ("marks", marks), ("families", families))}
    return JobFile(job_id, **parts, **extra)


def _records_of(table: str) -> str:
    """A job's rows of a table with their sources; the customer stays out."""
    columns = ", ".join(f't."{column.name}"' for column in TABLES[table].columns if not column.private)
    return (
        f"select {columns}, h.name as hand_in, s.file, s.sheet, t.line from {table} as t "
        "left join sources as s on s.source_id = t.source_id left join hand_ins as h on h.hand_in = t.hand_in "
        f"where t.job_id = $job_id order by {_ORDER[table]}"
    )


def search_words(search: Search, found: int | None = None) -> str:
    """The search in plain words, for a heading; `found` bodies stand before it.

    >>> search_words(Search(length_from_mm=1500, length_to_mm=1800, items=(ItemAt("sink", "left-rear"),), words="beach"), 1)
    '1 body, 1500 to 1800 mm, with sink at left-rear, note says beach'
    """
    parts = [search.filters.words(found)]
    for unit in ("length_mm", "mass_kg"):
        name, ending = unit.split("_")
        low, high = getattr(search, f"{name}_from_{ending}"), getattr(search, f"{name}_to_{ending}")
        if low is not None or high is not None:
            bounds = f"{low:g} to {high:g}" if None not in (low, high) else f"from {low:g}" if high is None else f"up to {high:g}"
            parts.append(f"{bounds} {ending}")
    parts += [f"with {item.item_id}{f' at {item.zone}' if item.zone else ''}" for item in search.items]
    parts += [f"without {item}" for item in search.without]
    parts += [" or ".join(map(str, chosen)) for chosen in (search.years, search.statuses, search.standings) if chosen]
    parts += [f"note says {search.words}"] if search.words else []
    parts += [f"job {search.job}"] if search.job else []
    parts += ["suspect" if search.suspect else "not suspect"] if search.suspect is not None else []
    parts += ["list short" if search.list_short else "list not short"] if search.list_short is not None else []
    return ", ".join(parts)
