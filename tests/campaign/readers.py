"""Twenty readers while a hundred editions are published and pruned: every answer is of one whole edition."""

from __future__ import annotations

import json
import os
import random
import shutil
import time
from pathlib import Path
from typing import Any

import psutil
from kills import forked
from outcome import Outcome

from pipeline.contract import TABLES
from pipeline.store import Store, load
from pipeline.store.disk import copy_file, only_one
from pipeline.store.editions import DATABASE, building, publish

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
        con = duckdb.connect(str(folder / DATABASE))
        con.execute("INSERT INTO items (item_id, label, \"group\") VALUES (?, 'one more', 'drawer')", [f"item-{live.number}"])
        con.close()
        rows = {**live.manifest["rows"], "items": live.manifest["rows"]["items"] + 1}
        publish(store, folder, {**live.manifest, "rows": rows, "parent": live.number}, store.settings())


def run(readers: int, editions: int, seed: int, scratch: Path, start_with: list[Path]) -> Outcome:
    """Publish `editions` editions, keeping three, under the eyes of `readers` processes."""
    outcome, root, done = Outcome("readers while editions come and go"), scratch / "store", scratch / "done"
    dice = random.Random(seed)

    def begin() -> None:
        load(start_with, Store(root))
        (root / "tarebook.toml").write_text("[store]\nkeep_editions = 3\n")

    if forked(begin)[0]:
        raise RuntimeError("no store to begin with")
    answers = [scratch / f"reader-{at}.json" for at in range(readers)]
    children = [_reader(root, done, answer) for answer in answers]
    for _ in range(editions):
        if forked(lambda: publish_next(Store(root)))[0]:
            outcome.lost.append("an edition could not be published")
        time.sleep(dice.uniform(0, 0.05))
    done.touch()
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


def _reader(root: Path, done: Path, answer: Path) -> int:
    child = os.fork()
    if child == 0:
        try:
            answer.write_text(json.dumps(read(root, done)))
        finally:
            os._exit(0)
    return child
