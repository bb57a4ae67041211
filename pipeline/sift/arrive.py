"""What becomes of the rows of one hand-in: who gets in, who waits, who is replaced, who is refused.

Tables are taken in the order of their references, so that a row finds what it refers to even when both came together.
A row whose reference has not come waits; each later hand-in looks again, and takes it up as if it arrived with its own.
Nothing that is in ever goes back to waiting: rows are replaced, never removed.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pipeline.contract import TABLES, Reference, Table
from pipeline.sift.cells import name
from pipeline.sift.schema import key_text
from pipeline.sift.stage import write_ledger


def arrive(con: Any, hand_in: int, tables: Mapping[str, Table] = TABLES) -> None:
    """Move everything that is staged for `hand_in`, and whatever it lets in, to where it belongs.

    Leaves the temp table `touched_jobs` (job_id) for the soft rules.
    """
    con.execute("CREATE TEMP TABLE IF NOT EXISTS touched_jobs (job_id VARCHAR)")
    for table in tables.values():
        if not _any(con, f"staged_{table.name}") and not _any(con, f"waiting_{table.name}"):
            continue
        if table.key_fallback:
            _complete_keys(con, table)
        write_ledger(con, table)
        if not table.grouped:
            _settle_duplicates(con, table, hand_in)
        if table.name == "jobs":
            _refuse_other_branches(con, hand_in)
        _lay_claims(con, table, hand_in)
        _open_contest(con, table)
        _let_in(con, table, hand_in)


def _columns(table: Table, alias: str = "") -> str:
    dot = f"{alias}." if alias else ""
    return ", ".join(f"{dot}{name(column)}" for column in (*table.names, "hand_in", "source_id", "line", "part"))


def _key(table: Table, alias: str) -> str:
    return key_text(table, alias)


def _any(con: Any, relation: str) -> bool:
    return bool(con.execute(f"SELECT 1 FROM {relation} LIMIT 1").fetchall())


def _complete_keys(con: Any, table: Table) -> None:
    """What stands in for a key's empty last column, before rows are compared by their keys."""
    last, stand_in = name(table.key[-1]), ", ".join(name(column) for column in table.key_fallback)
    con.execute(f"UPDATE staged_{table.name} SET {last} = concat_ws(' ', {stand_in}) WHERE {last} IS NULL AND fine")


def _settle_duplicates(con: Any, table: Table, hand_in: int) -> None:
    """The same key twice in one hand-in: alike rows count once, differing ones are all refused."""
    con.execute(
        f"CREATE OR REPLACE TEMP TABLE twice AS SELECT {_key(table, 's')} AS key FROM arrived_{table.name} s WHERE fine "
        "GROUP BY 1 HAVING count(*) > 1"
    )
    if not _any(con, "twice"):
        return
    values = ", ".join(f"s.{name(column)}" for column in table.names)
    con.execute(f"""
        CREATE OR REPLACE TEMP TABLE repeats AS
        SELECT {_columns(table, "s")}, {_key(table, "s")} AS repeated_key, s.rowid AS place,
               count(DISTINCT row({values})) OVER (PARTITION BY {_key(table, "s")}) AS versions,
               row_number() OVER (PARTITION BY {_key(table, "s")} ORDER BY s.source_id, s.rowid) AS turn
        FROM (SELECT rowid, * EXCLUDE (line_said, line_shift), coalesce(line_said, rowid + line_shift) AS line FROM staged_{table.name}) s
        WHERE s.fine AND {_key(table, "s")} IN (SELECT key FROM twice)""")
    con.execute(
        f"INSERT INTO old_{table.name} SELECT {_columns(table)}, {hand_in}, 'identical' FROM repeats WHERE versions = 1 AND turn > 1"
    )
    _accuse(con, table, "repeats r", "duplicate-key", _blamed(table), "versions > 1")
    con.execute(f"DELETE FROM staged_{table.name} WHERE rowid IN (SELECT place FROM repeats WHERE versions > 1 OR turn > 1)")


def _blamed(table: Table) -> str:
    return next(column for column in reversed(table.key) if column != "revision")


def _refuse_other_branches(con: Any, hand_in: int) -> None:
    """A job number that another branch uses already would mix two customers' jobs."""
    con.execute("""
        CREATE OR REPLACE TEMP TABLE strangers AS
        SELECT s.rowid AS place, s.* EXCLUDE (line_said, line_shift), coalesce(s.line_said, s.rowid + s.line_shift) AS line
        FROM (SELECT rowid, * FROM staged_jobs) s
        WHERE s.fine AND EXISTS (SELECT 1
                                 FROM (SELECT job_id, branch FROM jobs UNION ALL SELECT job_id, branch FROM staged_jobs WHERE fine) o
                                 WHERE o.job_id = s.job_id AND o.branch IS NOT NULL AND s.branch IS NOT NULL AND o.branch <> s.branch)""")
    if _any(con, "strangers"):
        _accuse(con, TABLES["jobs"], "strangers r", "job-of-another-branch", "branch", "true")
        con.execute("DELETE FROM staged_jobs WHERE rowid IN (SELECT place FROM strangers)")


def _accuse(con: Any, table: Table, relation: str, rule: str, column: str, where: str) -> None:
    stood = ", ".join(f"'{each}': CAST(r.{name(each)} AS VARCHAR)" for each in table.names)
    con.execute(f"""
        INSERT INTO ledger
        SELECT '{table.name}', r.hand_in, r.source_id, r.line, r.part, NULL, '{column}', '{rule}', CAST(r.{name(column)} AS VARCHAR),
               to_json({{{stood}}}), {_key(table, "r")}, NULL, NULL, true
        FROM {relation} WHERE {where}""")


def _lay_claims(con: Any, table: Table, hand_in: int) -> None:
    """What this hand-in says anew of a group: any line claims the whole, also one that was refused."""
    if table.name in ("jobs", "bodies", "fitout", "weighings"):
        con.execute(f"INSERT INTO touched_jobs SELECT DISTINCT job_id FROM staged_{table.name} WHERE job_id IS NOT NULL")
    if not table.grouped or not any(_any(con, holder) for holder in (table.name, f"waiting_{table.name}", "ledger")):
        return
    readable = " AND ".join(f"s.{name(column)} IS NOT NULL" for column in table.key)
    con.execute(
        f"CREATE OR REPLACE TEMP TABLE claims AS "
        f"SELECT DISTINCT {_key(table, 's')} AS key, {hand_in} AS hand_in FROM arrived_{table.name} s WHERE {readable}"
    )
    _replace(con, table, f"waiting_{table.name}", hand_in)
    _replace(con, table, table.name, hand_in)
    _close_replaced(con, table, hand_in)


def _replace(con: Any, table: Table, holder: str, hand_in: int) -> None:
    """Move the rows of `holder` that a claim replaces to the old ones."""
    claimed = f"{_key(table, 't')} IN (SELECT key FROM claims)"
    if _any(con, holder) and _any(con, f"{holder} t WHERE {claimed}"):
        con.execute(f"INSERT INTO old_{table.name} SELECT {_columns(table, 't')}, {hand_in}, 'replaced' FROM {holder} t WHERE {claimed}")
        con.execute(f"DELETE FROM {holder} t WHERE {claimed}")


def _close_replaced(con: Any, table: Table, hand_in: int) -> None:
    """A refused row whose key a newer row has brought right needs no more attention."""
    con.execute(
        f"UPDATE ledger SET closed = 'superseded', closed_by = {hand_in} FROM claims c WHERE c.key = ledger.key "
        f"AND ledger.hand_in < c.hand_in AND closed IS NULL AND table_name = '{table.name}' "
        f"AND NOT EXISTS (SELECT 1 FROM waiting_{table.name} w "
        "WHERE (w.source_id, w.line, w.part) = (ledger.source_id, ledger.line, ledger.part))"
    )


def _open_contest(con: Any, table: Table) -> None:
    """Who is in the running: the fine rows that came, and those that wait; and which of them miss a reference."""
    if table.name == "fitout":
        _resolve_old_names(con)
    waiting = f"UNION ALL SELECT {_columns(table)}, true AS waits FROM waiting_{table.name}" if _any(con, f"waiting_{table.name}") else ""
    con.execute(
        f"CREATE OR REPLACE TEMP VIEW contest AS SELECT {_columns(table)}, false AS waits FROM arrived_{table.name} WHERE fine {waiting}"
    )
    cases = " ".join(f"WHEN {_lacks(reference, at)} THEN '{reference.rule}'" for at, reference in enumerate(table.references))
    con.execute("DROP TABLE IF EXISTS lacking")
    if not cases:
        con.execute("CREATE TEMP TABLE lacking (source_id INTEGER, line BIGINT, part INTEGER, rule VARCHAR, waits BOOLEAN)")
        return
    joins = " ".join(_join(reference, at) for at, reference in enumerate(table.references))
    con.execute(f"""
        CREATE TEMP TABLE lacking AS SELECT source_id, line, part, rule, waits FROM (
            SELECT c.source_id, c.line, c.part, c.waits, CASE {cases} END AS rule FROM contest c {joins}) WHERE rule IS NOT NULL""")


def _join(reference: Reference, at: int) -> str:
    keys = ", ".join(name(column) for column in reference.columns)
    on = " AND ".join(f"r{at}.{name(column)} = c.{name(column)}" for column in reference.columns)
    return f"LEFT JOIN (SELECT DISTINCT {keys} FROM {reference.table}) r{at} ON {on}"


def _lacks(reference: Reference, at: int) -> str:
    column = name(reference.columns[0])
    return f"c.{name(reference.columns[-1])} IS NOT NULL AND r{at}.{column} IS NULL"


def _resolve_old_names(con: Any) -> None:
    """An item under an old name is the item; the file keeps the name as it was written."""
    con.execute("""
        CREATE OR REPLACE TEMP TABLE old_names AS
        SELECT said, min(item_id) AS item_id FROM (SELECT trim(unnest(string_split(also_called, '|'))) AS said, item_id FROM items)
        WHERE said <> '' AND said NOT IN (SELECT item_id FROM items) GROUP BY said""")
    if _any(con, "old_names"):
        for place in ("staged", "waiting"):
            con.execute(
                f"UPDATE {place}_fitout SET item_id = old_names.item_id FROM old_names WHERE old_names.said = {place}_fitout.item_id"
            )


def _let_in(con: Any, table: Table, hand_in: int) -> None:
    """Newest of each key gets in; what it beats is kept as old; what lacks a reference waits."""
    columns = _columns(table, "c")
    ready = "FROM contest c" + (" ANTI JOIN lacking l USING (source_id, line, part)" if _any(con, "lacking") else "")
    con.execute("CREATE OR REPLACE TEMP TABLE losers (source_id INTEGER, line BIGINT, part INTEGER)")
    taken_up = _any(con, f"waiting_{table.name}") and _any(con, f"(SELECT 1 {ready} WHERE c.waits)")
    if taken_up:
        _find_losers(con, table, ready)
    winning = f"{ready} WHERE (c.source_id, c.line, c.part) NOT IN (SELECT (source_id, line, part) FROM losers)" if taken_up else ready
    if not table.grouped:
        _claim_won(con, table, winning)
        _replace(con, table, table.name, hand_in)
    con.execute(f"INSERT INTO {table.name} SELECT {columns} {winning}")
    if taken_up:
        con.execute(
            f"INSERT INTO old_{table.name} SELECT {columns}, {hand_in}, 'replaced' FROM contest c "
            "WHERE (c.source_id, c.line, c.part) IN (SELECT (source_id, line, part) FROM losers)"
        )
        _close_waiting(con, table, hand_in, ready)
    _start_waiting(con, table)
    if not table.grouped:
        _close_replaced(con, table, hand_in)


def _claim_won(con: Any, table: Table, winning: str) -> None:
    """Keys that rows of a table without groups have won; none are needed where there is nothing to replace."""
    needed = "" if _any(con, table.name) or _any(con, "ledger") else "LIMIT 0"
    con.execute(
        f"CREATE OR REPLACE TEMP TABLE claims AS SELECT {_key(table, 'c')} AS key, max(c.hand_in) AS hand_in {winning} GROUP BY 1 {needed}"
    )


def _find_losers(con: Any, table: Table, ready: str) -> None:
    """Rows taken up late never replace a newer one: neither a live one nor one that came with this hand-in."""
    con.execute(f"""
        CREATE OR REPLACE TEMP TABLE losers AS
        SELECT source_id, line, part FROM (
            SELECT c.source_id, c.line, c.part, c.hand_in, c.hand_in < max(c.hand_in) OVER (PARTITION BY {_key(table, "c")}) AS beaten,
                   {_key(table, "c")} AS key {ready}) k
        WHERE beaten OR EXISTS (SELECT 1 FROM {table.name} t WHERE {_key(table, "t")} = k.key AND t.hand_in > k.hand_in)""")


def _close_waiting(con: Any, table: Table, hand_in: int, ready: str) -> None:
    job = "c.job_id" if "job_id" in table.names else "NULL"
    con.execute(f"CREATE OR REPLACE TEMP TABLE up AS SELECT c.source_id, c.line, c.part, {job} AS job_id {ready} WHERE c.waits")
    con.execute("INSERT INTO touched_jobs SELECT DISTINCT job_id FROM up WHERE job_id IS NOT NULL")
    con.execute(f"DELETE FROM waiting_{table.name} WHERE (source_id, line, part) IN (SELECT (source_id, line, part) FROM up)")
    con.execute(
        f"UPDATE ledger SET closed = 'taken-up', closed_by = {hand_in} WHERE closed IS NULL AND table_name = '{table.name}' "
        "AND (source_id, line, part) IN (SELECT (source_id, line, part) FROM up)"
    )
    con.execute(
        "UPDATE sources SET taken_up = taken_up + n "
        "FROM (SELECT source_id AS id, count(*) AS n FROM up GROUP BY 1) u WHERE u.id = source_id"
    )


def _start_waiting(con: Any, table: Table) -> None:
    if not _any(con, "(SELECT 1 FROM lacking WHERE NOT waits)"):
        return
    con.execute(f"""CREATE OR REPLACE TEMP TABLE newly AS SELECT {_columns(table, "c")}, l.rule AS lacking
        FROM contest c JOIN lacking l USING (source_id, line, part) WHERE NOT c.waits""")
    con.execute(f"INSERT INTO waiting_{table.name} SELECT * FROM newly")
    for reference in table.references:
        _accuse(con, table, "newly r", reference.rule, reference.blamed, f"r.lacking = '{reference.rule}'")
