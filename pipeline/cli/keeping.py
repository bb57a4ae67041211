"""Verbs that keep the store: load, fit, export, editions, rebuild."""

from __future__ import annotations

import argparse
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.answers.files import Rows
from pipeline.cli.common import ROLE, add_engine, add_verb, check_ending, engine_of, give, say
from pipeline.errors import Exit, WrongCall
from pipeline.store import Store

if TYPE_CHECKING:
    from pipeline.store.load import LoadResult


def add_verbs(verbs: Any) -> None:
    """Add this module's verbs."""
    verb = add_verb(verbs, "load", _load, "take hand-ins in and publish one edition")
    verb.add_argument("paths", type=Path, nargs="+", metavar="PATH", help="folders and workbooks, or folders that hold several")
    verb.add_argument("--mapping", type=Path, metavar="FILE", help="an intake.toml that says how to read them")

    verb = add_verb(verbs, "fit", _fit, "fit and calibrate the mass model, and publish an edition with it", out=False)
    verb.add_argument("--report", action="store_true", help="add backtest, errors by group and the ladder of rivals")
    add_engine(verb)

    verb = add_verb(verbs, "export", _export, "a table of the live edition")
    verb.add_argument("what", help="which table; a wrong one lists them")
    verb.add_argument("--month", metavar="YYYY-MM", help="of the summary, which goes to a PDF")
    add_engine(verb, lake=True)

    verb = add_verb(verbs, "editions", _editions, "list the editions, make an older one live, or share them with other machines")
    acts = "use N: make edition N live; publish URL: copy the live one there; follow URL: take over what is live there, again and again"
    verb.add_argument("act", nargs="?", choices=["use", "publish", "follow"], help=acts)
    verb.add_argument(
        "target", nargs="?", metavar="N or URL", help="an edition's number, or a folder or fsspec address such as s3://bucket/path"
    )
    verb.add_argument("--every", type=float, default=30.0, metavar="SECONDS", help="how often to look when following (default 30)")
    verb.add_argument("--once", action="store_true", help="follow once and stop")

    add_verb(verbs, "rebuild", _rebuild, "the store again from the originals, with the digests of every table before and after")


def _load(call: argparse.Namespace) -> Exit:
    from pipeline.store.load import ACCOUNT_COLUMNS, load

    check_ending(call.out)
    result = load(call.paths, call.store, call.mapping)
    tell_load(result)
    rows = Rows.of(result.accounts, ACCOUNT_COLUMNS)
    give(rows.with_edition(result.edition.number) if call.out and call.out.suffix == ".json" else rows, call.out)
    return Exit.LOOK if result.changed and any(account["rejected"] for account in result.accounts) else Exit.DONE


def tell_load(result: LoadResult) -> None:
    """Say in words what a load did."""
    for remark in result.remarks:
        say(remark)
    if not result.changed:
        say(f"nothing new; edition {result.edition.number} stays live")
        return
    rejected = sum(account["rejected"] for account in result.accounts)
    taken = sum(account["kept"] + account["suspect"] for account in result.accounts)
    say(
        f"edition {result.edition.number} is live: {taken} rows in, {rejected} rejected"
        + ("; `tarebook export rejects` says why" if rejected else "")
    )


def _fit(call: argparse.Namespace) -> Exit:
    import json

    from pipeline.answers.fitting import fit_store

    outcome = fit_store(call.store, report=call.report, engine=engine_of(call))
    print(json.dumps(outcome, indent=1, ensure_ascii=False, default=str))
    return Exit.DONE


def _export(call: argparse.Namespace) -> Exit:
    from pipeline.answers.engines import edition_on
    from pipeline.answers.exports import export, must_be_known
    from pipeline.cli.papers import check_summary, write_summary

    engine = engine_of(call)
    if call.what == "lake":
        return _export_lake(call)
    if call.what == "summary":
        check_summary(call)
        with edition_on(call.store, engine) as edition:
            return write_summary(call, edition)
    must_be_known(call.what, engine.spread)
    check_ending(call.out)
    with edition_on(call.store, engine) as edition:
        give(export(edition, call.what, call.store.settings(), ROLE).with_edition(edition.number), call.out)
    return Exit.DONE


def _export_lake(call: argparse.Namespace) -> Exit:
    from pipeline.answers.access import require_export
    from pipeline.store.lake import export_lake

    require_export(ROLE, "lake")
    if call.out is None:
        raise WrongCall("where to?", expected="--out with a folder or an address such as s3://bucket/path")
    target = str(call.out)
    manifest = export_lake(call.store.live(), target)
    tables = manifest["tables"].values()
    rows, files = sum(table["rows"] for table in tables), sum(len(table["files"]) for table in tables)
    say(f"edition {manifest['edition']} lies in {target}: {rows} rows in {files} files")
    return Exit.DONE


def _editions(call: argparse.Namespace) -> Exit:
    if call.act == "follow":
        return _follow(call)
    if call.act == "use":
        edition = call.store.use(_number(call))
        say(f"edition {edition.number} is live")
    if call.act == "publish":
        from pipeline.store.spread import publish_edition

        edition = call.store.live()
        copied = publish_edition(edition, _url(call))
        say(f"edition {edition.number} is live at {call.target}: {', '.join(copied) or 'nothing new to copy'}")
    give(list_editions(call.store), call.out)
    return Exit.DONE


def _follow(call: argparse.Namespace) -> Exit:
    from pipeline.store.spread import follow, follow_once

    url = _url(call)
    if call.once:
        edition = follow_once(call.store, url)
        say(f"edition {edition.number} is live" if edition else "nothing new there")
        give(list_editions(call.store), call.out)
        return Exit.DONE

    def wait() -> bool:
        time.sleep(max(0.1, call.every))
        return True

    follow(call.store, url, wait, say)
    return Exit.DONE


def _url(call: argparse.Namespace) -> str:
    if not call.target:
        raise WrongCall(
            f"{call.act} where?", expected=f"`tarebook editions {call.act} URL` with a folder or an address such as s3://bucket/path"
        )
    return str(call.target)


def _number(call: argparse.Namespace) -> int:
    if call.target is None or not call.target.isdecimal():
        raise WrongCall("which edition?", got=str(call.target), expected="`tarebook editions use N` with a number of the list")
    return int(call.target)


def list_editions(store: Store) -> Rows:
    """Every whole edition, oldest first."""
    live = store.live().name
    records = [
        {
            "edition": edition.number,
            "made_on": edition.manifest["made_on"],
            "by": edition.manifest["by"],
            "rows": sum(edition.manifest["rows"].values()),
            "model": edition.has_model,
            "live": edition.name == live,
        }
        for edition in store.editions()
    ]
    return Rows.of(records, ("edition", "made_on", "by", "rows", "model", "live"))


def _rebuild(call: argparse.Namespace) -> Exit:
    from pipeline.store.rebuild import rebuild

    result = rebuild(call.store)
    alike = "alike in every table" if result.alike else "by today's rules, which are newer than those it was loaded by: see what differs"
    say(f"edition {result.edition.number} is live, rebuilt from the originals and {alike}")
    give(
        Rows(
            ("table", "before", "after", "alike"),
            [(table, before, result.after[table], before == result.after[table]) for table, before in result.before.items()],
        ),
        call.out,
    )
    return Exit.DONE
