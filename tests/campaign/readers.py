"""Twenty readers and a running dashboard while a hundred editions are published and pruned: every answer is of one whole edition."""

from __future__ import annotations

import json
import os
import random
import shutil
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pages
import psutil
from kills import forked
from outcome import Outcome
from pages import Sessions, page_names
from rig import PAGES, server

from pipeline.contract import TABLES
from pipeline.store import Store
from pipeline.store.disk import copy_file, only_one
from pipeline.store.editions import DATABASE, MODEL, building, publish

PAUSE_S = 0.3

GROWTH_MB, GROWTH_FILES = 40.0, 4
"""What a reader may gain from its tenth look to its last: memory, and open files."""


def read(root: Path, until: Path) -> dict[str, Any]:
    """Ask for the live edition again and again until a file appears; what was wrong, and what the process gained."""
    wrong: list[str] = []
    looks, seen, me = 0, set(), psutil.Process()
    first = (0.0, 0)
    while not until.exists() or looks < 12:
        try:
            edition = Store(root).live()
            cursor = edition.cursor()
            before = cursor.execute("SELECT count(*) FROM items").fetchall()[0][0]
            rows = {table: cursor.execute(f"SELECT count(*) FROM {table}").fetchall()[0][0] for table in TABLES}
            if rows != edition.manifest["rows"] or before != rows["items"]:
                wrong.append(f"edition {edition.number}: rows and manifest differ")
            seen.add(edition.number)
            edition.close()
        except Exception as error:
            wrong.append(f"{type(error).__name__}: {str(error).splitlines()[0]}")
        looks += 1
        time.sleep(PAUSE_S)
        if looks == 10:
            first = (me.memory_info().rss / 1e6, me.num_fds())
    grown = (me.memory_info().rss / 1e6 - first[0], me.num_fds() - first[1])
    return {"wrong": wrong[:5], "looks": looks, "editions": len(seen), "mb": grown[0], "files": grown[1]}


def publish_next(store: Store) -> None:
    """An edition with one item more, published as a load publishes it."""
    import duckdb

    with only_one(store.lock), building(store) as folder:
        live = store.live()
        copy_file(live.database, folder / DATABASE)
        if live.has_model:
            copy_file(live.path / MODEL, folder / MODEL)
        con = duckdb.connect(str(folder / DATABASE))
        con.execute("INSERT INTO items (item_id, label, \"group\") VALUES (?, 'one more', 'drawer')", [f"item-{live.number}"])
        con.close()
        rows = {**live.manifest["rows"], "items": live.manifest["rows"]["items"] + 1}
        publish(store, folder, {**live.manifest, "rows": rows, "parent": live.number}, store.settings())


def run(readers: int, editions: int, seconds: float, sessions: int, seed: int, scratch: Path) -> Outcome:
    """Publish `editions` editions over some time, keeping three, under the eyes of `readers` processes and a dashboard's sessions."""
    outcome, root, done = Outcome("readers and a dashboard while editions come and go"), scratch / "store", scratch / "done"
    dice = random.Random(seed)
    # A process of its own: what makes a store starts threads, which a child forked from here would wait for in vain.
    begin = (
        f"import sys; sys.path[:0] = {sys.path!r}; from pathlib import Path; from rig import make_store; make_store(Path({str(scratch)!r}))"
    )
    subprocess.run([sys.executable, "-c", begin], check=True)
    (root / "tarebook.toml").write_text("[store]\nkeep_editions = 3\n")
    answers = [scratch / f"reader-{at}.json" for at in range(readers)]
    with server(root) as address:
        children = [_reader(root, done, answer) for answer in answers]
        publisher = _publisher(root, editions, seconds, dice, done)
        seen = Sessions(address, page_names(PAGES), done.exists).run(sessions)
        outcome.tried += seen.reruns
        outcome.lost += seen.wrong
        outcome.seen["reruns of pages"] += seen.reruns
        outcome.seen["MB gained by the server"] += round(seen.gained_mb)
        outcome.seen["open files gained by the server"] += seen.gained_files
        if seen.gained_mb > pages.GROWTH_MB or seen.gained_files > pages.GROWTH_FILES:
            outcome.lost.append(f"the dashboard grew by {seen.gained_mb:.0f} MB and {seen.gained_files} open files")
        if os.waitpid(publisher, 0)[1]:
            outcome.lost.append("an edition could not be published")
        for child in children:
            os.waitpid(child, 0)
    for answer in answers:
        told = json.loads(answer.read_text()) if answer.exists() else {"wrong": ["a reader died"], "looks": 0, "mb": 0, "files": 0}
        outcome.tried += told["looks"]
        outcome.lost += told["wrong"]
        outcome.seen["readers"] += 1
        if told["mb"] > GROWTH_MB or told["files"] > GROWTH_FILES:
            outcome.lost.append(f"a reader grew by {told['mb']:.0f} MB and {told['files']} open files")
    outcome.seen["editions published"] += editions
    outcome.seen["editions left"] += len(list((root / "editions").iterdir()))
    shutil.rmtree(root)
    return outcome


def _publisher(root: Path, editions: int, seconds: float, dice: random.Random, done: Path) -> int:
    child = os.fork()
    if child:
        return child
    status = 70
    try:
        began = time.monotonic()
        failed = 0
        for at in range(editions):
            failed += bool(forked(lambda: publish_next(Store(root)))[0])
            time.sleep(max(0.0, began + seconds * (at + dice.random()) / editions - time.monotonic()))
        status = bool(failed)
    finally:
        done.touch()
        os._exit(status)


def _reader(root: Path, done: Path, answer: Path) -> int:
    child = os.fork()
    if child == 0:
        os.nice(5)
        try:
            answer.write_text(json.dumps(read(root, done)))
        finally:
            os._exit(0)
    return child
