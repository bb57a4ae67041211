"""What becomes of the rows of one hand-in: who gets in, who waits, who is replaced, who is refused.

Tables are taken in the order of their references, so that a row finds what it refers to even when both came together.
A row whose reference has not come waits; each later hand-in looks again, and takes it up as if it arrived with its own.
Nothing that is in ever goes back to waiting: rows are replaced, never removed.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

from pipeline.contract import TABLES, Reference, Table
from pipeline.sift.cells import name
from pipeline.sift.schema import hash_sum, key_text
from pipeline.sift.stage import write_ledger


def arrive(con: Any, hand_in: int, tables: Mapping[str, Table] = TABLES, *, first: Collection[str] = ()) -> None:
    """Move everything that is staged for `hand_in`, and whatever it lets in, to where it belongs.

    Args:
        first: names of tables that nothing was in before, nor waited for: the staging tables become the live ones.

    Leaves the temp tables `touched_jobs` (job_id) for the soft rules, and `moves` (table_name, rows, hashes: what came, less what
    went) for the digests; tables that are first need neither.
    """
    if not set(tables) <= set(first):
        con.execute("CREATE TEMP TABLE IF NOT EXISTS touched_jobs (job_id VARCHAR)")
        con.execute("CREATE TEMP TABLE IF NOT EXISTS moves (table_name VARCHAR, rows BIGINT, hashes HUGEINT)")
    for table in tables.values():
        if _any(con, f"staged_{table.name}") or _any(con, f"waiting_{table.name}"):
            is_first = table.name in first
            if not is_first:
                _touch(con, table)
            _judge(con, table, hand_in, is_first)
            _let_in(con, table, hand_in, is_first)
        con.execute(f"DROP TABLE IF EXISTS staged_{table.name}")


def _judge(con: Any, table: Table, hand_in: int, first: bool) -> None:
    """Take out of the staged rows all that must not get in, and tell the ledger why."""
    if table.key_fallback:
        _complete_keys(con, table)
    write_ledger(con, table)
    if not table.grouped:
        _settle_duplicates(con, table, hand_in)
    if table.name == "jobs":
        _refuse_other_branches(con)
    if table.grouped:
        _lay_claims(con, table, hand_in)
    con.execute(f"DELETE FROM staged_{table.name} WHERE accusation IS NOT NULL")
    if table.name == "fitout":
        _resolve_old_names(con)
    _find_lacking(con, table, first)
    _start_waiting(con, table)


def _touch(con: Any, table: Table) -> None:
    if table.name in ("jobs", "bodies", "fitout", "weighings"):
        con.execute(f"INSERT INTO touched_jobs SELECT DISTINCT job_id FROM staged_{table.name} WHERE job_id IS NOT NULL")


def _columns(table: Table, alias: str = "") -> str:
    dot = f"{alias}." if alias else ""
    return ", ".join(f"{dot}{name(column)}" for column in (*table.names, "hand_in", "source_id", "line", "part"))


def _key(table: Table, alias: str) -> str:
    return key_text(table, alias)


def _lead(table: Table, alias: str) -> str:
    return f"{alias}.{name(table.key[0])}"


def _any(con: Any, relation: str) -> bool:
    return bool(con.execute(f"SELECT 1 FROM {relation} LIMIT 1").fetchall())


def _complete_keys(con: Any, table: Table) -> None:
    """What stands in for a key's empty last column, before rows are compared by their keys."""
    last, stand_in = name(table.key[-1]), ", ".join(name(column) for column in table.key_fallback)
    con.execute(f"UPDATE staged_{table.name} SET {last} = concat_ws(' ', {stand_in}) WHERE {last} IS NULL AND accusation IS NULL")


def _settle_duplicates(con: Any, table: Table, hand_in: int) -> None:
    """The same key twice in one hand-in: alike rows count once, differing ones are all refused."""
    twice = f"(SELECT {_key(table, 's')} AS key FROM staged_{table.name} s WHERE accusation IS NULL GROUP BY 1 HAVING count(*) > 1)"
    if not _any(con, twice):
        return
    values = ", ".join(f"s.{name(column)}" for column in table.names)
    con.execute(f"""
        CREATE OR REPLACE TEMP TABLE repeats AS
        SELECT {_columns(table, "s")}, s.rowid AS place, count(DISTINCT row({values})) OVER (PARTITION BY {_key(table, "s")}) AS versions,
               row_number() OVER (PARTITION BY {_key(table, "s")} ORDER BY s.source_id, s.line, s.part) AS turn
        FROM staged_{table.name} s
        WHERE s.accusation IS NULL AND {_key(table, "s")} IN {twice}""")
    con.execute(
        f"INSERT INTO old_{table.name} SELECT {_columns(table)}, {hand_in}, 'identical' FROM repeats WHERE versions = 1 AND turn > 1"
    )
    _accuse(con, table, "repeats r", "duplicate-key", _blamed(table), "versions > 1")
    con.execute(f"DELETE FROM staged_{table.name} WHERE rowid IN (SELECT place FROM repeats WHERE versions > 1 OR turn > 1)")


def _blamed(table: Table) -> str:
    return next(column for column in reversed(table.key) if column != "revision")


def _refuse_other_branches(con: Any) -> None:
    """A job number that another branch uses already would mix two customers' jobs."""
    con.execute("""
        CREATE OR REPLACE TEMP TABLE shared AS
        SELECT job_id FROM (SELECT job_id, branch FROM staged_jobs WHERE accusation IS NULL
                            UNION ALL SELECT job_id, branch FROM jobs WHERE job_id IN (SELECT job_id FROM staged_jobs))
        GROUP BY job_id HAVING min(branch) <> max(branch)""")
    if _any(con, "shared"):
        strangers = "accusation IS NULL AND branch IS NOT NULL AND job_id IN (SELECT job_id FROM shared)"
        _accuse(con, TABLES["jobs"], "staged_jobs r", "job-of-another-branch", "branch", strangers)
        con.execute(f"DELETE FROM staged_jobs WHERE {strangers}")


def _accuse(con: Any, table: Table, relation: str, rule: str, column: str, where: str) -> None:
    stood = ", ".join(f"'{each}': CAST(r.{name(each)} AS VARCHAR)" for each in table.names)
    con.execute(f"""
        INSERT INTO ledger
        SELECT '{table.name}', r.hand_in, r.source_id, r.line, r.part, NULL, '{column}', '{rule}', CAST(r.{name(column)} AS VARCHAR),
               to_json({{{stood}}}), {_key(table, "r")}, NULL, NULL, true
        FROM {relation} WHERE {where}""")


def _lay_claims(con: Any, table: Table, hand_in: int) -> None:
    """What this hand-in says anew of a group: any line claims the whole, also one that was refused."""
    if not any(_any(con, holder) for holder in (table.name, f"waiting_{table.name}", _earlier(hand_in))):
        return
    readable = " AND ".join(f"s.{name(column)} IS NOT NULL" for column in table.key)
    con.execute(
        f"CREATE OR REPLACE TEMP TABLE claims AS "
        f"SELECT DISTINCT {_key(table, 's')} AS key, {_lead(table, 's')} AS lead, {hand_in} AS hand_in "
        f"FROM staged_{table.name} s WHERE {readable}"
    )
    _replace(con, table, f"waiting_{table.name}", hand_in)
    _replace(con, table, table.name, hand_in)
    _close_replaced(con, table, hand_in)


def _earlier(hand_in: int) -> str:
    """What earlier hand-ins have left in the ledger."""
    return f"(SELECT 1 FROM ledger WHERE hand_in < {hand_in})"


def _replace(con: Any, table: Table, holder: str, hand_in: int) -> None:
    """Move the rows of `holder` that a claim replaces to the old ones."""
    # By the key's first column the database passes over all that is far from it, and need not write out the other keys.
    claimed = f"{_lead(table, 't')} IN (SELECT lead FROM claims) AND {_key(table, 't')} IN (SELECT key FROM claims)"
    if _any(con, holder) and _any(con, f"{holder} t WHERE {claimed}"):
        con.execute(f"INSERT INTO old_{table.name} SELECT {_columns(table, 't')}, {hand_in}, 'replaced' FROM {holder} t WHERE {claimed}")
        if holder == table.name:
            _note_move(con, table, f"{holder} t WHERE {claimed}", -1)
        con.execute(f"DELETE FROM {holder} t WHERE {claimed}")


def _close_replaced(con: Any, table: Table, hand_in: int) -> None:
    """A refused row whose key a newer row has brought right needs no more attention."""
    if not _any(con, f"ledger WHERE closed IS NULL AND table_name = '{table.name}' AND hand_in < {hand_in}"):
        return
    con.execute(
        f"UPDATE ledger SET closed = 'superseded', closed_by = {hand_in} FROM claims c WHERE c.key = ledger.key "
        f"AND ledger.hand_in < c.hand_in AND closed IS NULL AND table_name = '{table.name}' "
        f"AND NOT EXISTS (SELECT 1 FROM waiting_{table.name} w "
        "WHERE (w.source_id, w.line, w.part) = (ledger.source_id, ledger.line, ledger.part))"
    )


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


def _find_lacking(con: Any, table: Table, first: bool) -> None:
    """Which of the rows that came, and of those that wait, miss a reference, and by which rule.

    One look for each reference finds the rows that miss any, and only these are asked which one it is.
    """
    con.execute("CREATE OR REPLACE TEMP TABLE lacking (source_id INTEGER, line BIGINT, part INTEGER, rule VARCHAR, waits BOOLEAN)")
    if not table.references:
        return
    waiting = f"UNION ALL SELECT {_columns(table)}, true AS waits FROM waiting_{table.name}" if _any(con, f"waiting_{table.name}") else ""
    came = f"SELECT {_columns(table)}, false AS waits FROM staged_{table.name} {waiting}"
    contest = f"WITH contest AS NOT MATERIALIZED ({came})"
    missing = " UNION ".join(
        f"SELECT source_id, line, part FROM contest c ANTI JOIN {_holders(reference, first)} r ON {_same(reference, 'r')} "
        f"WHERE c.{name(reference.columns[-1])} IS NOT NULL"
        for reference in table.references
        if not _implied(reference, table)
    )
    con.execute(f"CREATE OR REPLACE TEMP TABLE missing AS {contest} {missing}")
    if not _any(con, "missing"):
        return
    cases = " ".join(f"WHEN {_lacks(reference, at)} THEN '{reference.rule}'" for at, reference in enumerate(table.references))
    joins = " ".join(_join(reference, at) for at, reference in enumerate(table.references))
    con.execute(f"""
        INSERT INTO lacking {contest} SELECT c.source_id, c.line, c.part, CASE {cases} END, c.waits
        FROM (FROM contest SEMI JOIN missing USING (source_id, line, part)) c {joins}""")


def _holders(reference: Reference, first: bool) -> str:
    """Rows that may hold a reference; of a table that was there before, those near what came, for most of it is far from that."""
    lead = name(reference.columns[0])
    return reference.table if first else f"(FROM {reference.table} WHERE {lead} IN (SELECT {lead} FROM contest))"


def _implied(reference: Reference, table: Table) -> bool:
    """Whether another of the table's references leads to a row that itself holds this one: a body's job is there."""
    return any(
        deeper.table == reference.table and set(deeper.columns) >= set(reference.columns) and set(deeper.columns) <= set(other.columns)
        for other in table.references
        for deeper in TABLES[other.table].references
    )


def _same(reference: Reference, alias: str) -> str:
    return " AND ".join(f"{alias}.{name(column)} = c.{name(column)}" for column in reference.columns)


def _join(reference: Reference, at: int) -> str:
    keys = ", ".join(name(column) for column in reference.columns)
    return f"LEFT JOIN (SELECT DISTINCT {keys} FROM {reference.table}) r{at} ON {_same(reference, f'r{at}')}"


def _lacks(reference: Reference, at: int) -> str:
    column = name(reference.columns[0])
    return f"c.{name(reference.columns[-1])} IS NOT NULL AND r{at}.{column} IS NULL"


def _start_waiting(con: Any, table: Table) -> None:
    """What came and misses a reference waits, and is in the ledger until that comes."""
    if not _any(con, "(SELECT 1 FROM lacking WHERE NOT waits)"):
        return
    con.execute(f"""CREATE OR REPLACE TEMP TABLE newly AS SELECT {_columns(table, "s")}, l.rule AS lacking, s.rowid AS place
        FROM staged_{table.name} s JOIN lacking l USING (source_id, line, part) WHERE NOT l.waits""")
    con.execute(f"INSERT INTO waiting_{table.name} SELECT * EXCLUDE place FROM newly")
    for reference in table.references:
        _accuse(con, table, "newly r", reference.rule, reference.blamed, f"r.lacking = '{reference.rule}'")
    con.execute(f"DELETE FROM staged_{table.name} WHERE rowid IN (SELECT place FROM newly)")


def _let_in(con: Any, table: Table, hand_in: int, first: bool) -> None:
    """Newest of each key gets in, of what came and what waited; what it beats is kept as old."""
    taken_up = _take_up(con, table)
    if taken_up:
        _close_waiting(con, table, hand_in)
        _drop_beaten(con, table, hand_in)
    # where nothing was there before, there is nothing to replace and nothing to close
    contested = not table.grouped and (_any(con, table.name) or _any(con, _earlier(hand_in)))
    if contested:
        _claim_won(con, table, taken_up)
        _replace(con, table, table.name, hand_in)
    _enter(con, table, first)
    if taken_up:
        _add(con, table, "up")
    if contested:
        _close_replaced(con, table, hand_in)


def _take_up(con: Any, table: Table) -> bool:
    """Make `up` of what waited and waits no more; whether there is any."""
    if not _any(con, f"waiting_{table.name}"):
        return False
    # The rows that have just begun to wait are among the lacking, too.
    con.execute(
        f"CREATE OR REPLACE TEMP TABLE up AS SELECT {_columns(table)} FROM waiting_{table.name} "
        "ANTI JOIN lacking USING (source_id, line, part)"
    )
    return _any(con, "up")


def _enter(con: Any, table: Table, first: bool) -> None:
    """The staged rows become live: by their table's name where there is none yet, else one by one."""
    if first:
        con.execute(
            f"DROP TABLE {table.name}; ALTER TABLE staged_{table.name} DROP accusation; "
            f"ALTER TABLE staged_{table.name} RENAME TO {table.name}"
        )
    else:
        _add(con, table, f"staged_{table.name}")


def _add(con: Any, table: Table, relation: str) -> None:
    con.execute(f"INSERT INTO {table.name} SELECT {_columns(table)} FROM {relation}")
    _note_move(con, table, relation, 1)


def _note_move(con: Any, table: Table, relation: str, sign: int) -> None:
    """Note what a live table gains or loses, so that its digest need not be made of all its rows again."""
    con.execute(f"INSERT INTO moves SELECT '{table.name}', {sign} * count(*), {sign} * {hash_sum(table.names)} FROM {relation}")


def _running(table: Table, taken_up: bool = True) -> str:
    """Keys and hand-ins of all that may get in."""
    told = f"{_key(table, 'c')} AS key, {_lead(table, 'c')} AS lead, hand_in"
    holders = [f"staged_{table.name}", "up"] if taken_up else [f"staged_{table.name}"]
    return " UNION ALL ".join(f"SELECT {told} FROM {holder} c" for holder in holders)


def _claim_won(con: Any, table: Table, taken_up: bool) -> None:
    """Keys that rows of a table without groups have won."""
    con.execute(
        f"CREATE OR REPLACE TEMP TABLE claims AS SELECT key, lead, max(hand_in) AS hand_in FROM ({_running(table, taken_up)}) GROUP BY ALL"
    )


def _drop_beaten(con: Any, table: Table, hand_in: int) -> None:
    """Rows taken up late never replace a newer one: neither a live one nor one that came with this hand-in."""
    newer = f"{_running(table)} UNION ALL SELECT {_key(table, 't')}, {_lead(table, 't')}, hand_in FROM {table.name} t"
    beaten = f"EXISTS (SELECT 1 FROM ({newer}) n WHERE n.key = {_key(table, 'u')} AND n.hand_in > u.hand_in)"
    con.execute(f"CREATE OR REPLACE TEMP TABLE losers AS SELECT u.rowid AS place, u.* FROM up u WHERE {beaten}")
    con.execute(f"INSERT INTO old_{table.name} SELECT {_columns(table)}, {hand_in}, 'replaced' FROM losers")
    con.execute("DELETE FROM up WHERE rowid IN (SELECT place FROM losers)")


def _close_waiting(con: Any, table: Table, hand_in: int) -> None:
    """What is taken up waits no more, and its entries in the ledger are closed."""
    if "job_id" in table.names:
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
