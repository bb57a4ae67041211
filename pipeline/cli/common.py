"""What the verbs share: the store, and where rows go."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.answers.access import Role
from pipeline.answers.files import ENDINGS, Rows, to_csv, write_rows
from pipeline.errors import Exit, NoStore, WrongCall
from pipeline.store import Edition, Store

if TYPE_CHECKING:
    from pipeline.answers.engines import Engine

STORE_PLACE = "TAREBOOK_STORE"
ROLE = Role.EVERYTHING
"""Whoever runs a command can open the store's files, so the command keeps nothing from them."""


def add_verb(verbs: Any, name: str, run: Callable[[argparse.Namespace], Exit], doc: str, *, out: bool = True) -> argparse.ArgumentParser:
    """Add one verb with what all of them take."""
    verb = verbs.add_parser(name, help=doc, description=doc)
    usual = os.environ.get(STORE_PLACE, ".tarebook")
    verb.add_argument(
        "--store",
        type=lambda text: Store(Path(text)),
        default=Store(Path(usual)),
        metavar="DIR",
        help=f"the store (default {usual}, or ${STORE_PLACE})",
    )
    verb.add_argument("--settings", type=Path, metavar="FILE", help="settings in place of the store's tarebook.toml")
    if out:
        verb.add_argument("--out", type=_target, metavar="FILE", help=f"write there, by ending: {' '.join(ENDINGS)}")
    verb.set_defaults(run=run)
    return verb


def add_engine(verb: argparse.ArgumentParser, *, lake: bool = False) -> None:
    """Let a verb be computed elsewhere."""
    verb.add_argument("--engine", choices=["duckdb", "spark"], default="duckdb",
                      help="what computes: this process, or Apache Spark on a cluster (needs the extra `cluster`, and Java)")  # fmt: skip
    verb.add_argument("--master", metavar="URL", help="Spark's master, such as spark://host:7077 (default local[*]: this machine's cores)")
    if lake:
        verb.add_argument("--lake", metavar="DIR|URL", help="what `export lake` wrote, in place of the live edition")


def engine_of(call: argparse.Namespace) -> Engine:
    """The engine that a call asks for. Raises: WrongCall."""
    from pipeline.answers.engines import Engine

    return Engine(call.engine, call.master, getattr(call, "lake", None))


class Address(str):
    """Where to write when it is no path, such as `s3://bucket/path`."""


def _target(text: str) -> Path | Address:
    return Address(text) if "://" in text else Path(text)


def store_of(call: argparse.Namespace) -> Store:
    """The store a call works on, with the settings file it names. Raises: WrongCall: there is no such file."""
    if call.settings and not call.settings.is_file():
        raise WrongCall("no such settings file", where=str(call.settings))
    return replace(call.store, other_settings=call.settings)


def live_or_none(call: argparse.Namespace) -> Edition | None:
    """The live edition, or None where there is no store."""
    try:
        return call.store.live()
    except NoStore:
        return None


def give(rows: Rows, out: Path | None) -> None:
    """Rows to a file, or as CSV to stdout."""
    if out is None:
        sys.stdout.write(to_csv(rows))
    else:
        check_ending(out)
        write_rows(rows, out)


def check_ending(out: Path | Address | None) -> None:
    """Say before long work that its result could not be written. Raises: WrongCall."""
    if isinstance(out, Address):
        raise WrongCall(f"cannot write to {str(out)!r}", expected="a file; addresses are for `export lake` and `editions publish`")
    if out is not None and out.suffix.lower() not in ENDINGS:
        raise WrongCall(f"cannot write {out.name!r}", expected=f"a name that ends in {' '.join(ENDINGS)}")
    if out is not None and not out.absolute().parent.is_dir():
        raise WrongCall("no such folder", where=str(out.absolute().parent))


def say(text: str) -> None:
    """Talk, on stderr."""
    print(text, file=sys.stderr)
