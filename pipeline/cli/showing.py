"""Verbs that show: columns, settings, serve, up."""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path
from typing import Any

from pipeline.answers.files import Rows
from pipeline.cli.common import add_verb, give, say
from pipeline.errors import Exit, NoStore, WrongCall


def add_verbs(verbs: Any) -> None:
    """Add this module's verbs."""
    verb = add_verb(verbs, "columns", _columns, "the contract: every table and column that can be handed in")
    verb.add_argument("--markdown", action="store_true", help="as the page of the documentation")

    add_verb(verbs, "settings", _settings, "every setting with its value, its default and where it was set")

    verb = add_verb(verbs, "serve", _serve, "the dashboard, on this machine alone", out=False)
    _add_serving(verb)

    verb = add_verb(verbs, "up", _up, "load, fit and serve", out=False)
    verb.add_argument("paths", type=Path, nargs="+", metavar="PATH")
    verb.add_argument("--mapping", type=Path, metavar="FILE")
    _add_serving(verb)


def _add_serving(verb: argparse.ArgumentParser) -> None:
    verb.add_argument("--port", type=int, default=8501)
    names = "answer under this name only, behind a proxy; repeat it for several"
    verb.add_argument("--allowed-host", action="append", default=[], metavar="NAME", help=names)


def _columns(call: argparse.Namespace) -> Exit:
    from pipeline.contract.page import contract_markdown, contract_rows

    if call.markdown:
        sys.stdout.write(contract_markdown())
    else:
        give(Rows(("table", "column", "type", "unit", "range", "required", "meaning"), contract_rows()), call.out)
    return Exit.DONE


def _settings(call: argparse.Namespace) -> Exit:
    from pipeline.answers.what_is_set import setting_rows
    from pipeline.settings import list_settings

    give(setting_rows(list_settings(call.store.settings_file)), call.out)
    return Exit.DONE


def _serve(call: argparse.Namespace) -> Exit:
    """A folder without records is served too: its first page leads through the first hand-in."""
    root = call.store.root
    if root.exists() and not root.is_dir():
        raise WrongCall("a store is a folder", where=str(root), got="a file", do="--store with a folder; it need not be there yet")
    call.store.settings()
    try:
        call.store.live()
    except NoStore:
        say(f"{root}: nothing is loaded there yet; the page Start leads from the first files to the first picture")
    sys.stderr.flush()
    # in place of this process, so that whoever stops it stops the server
    os.execv(sys.executable, _server(call))  # noqa: S606


def _server(call: argparse.Namespace) -> list[str]:
    """How it is started, by name: the pipeline knows nothing of the dashboard."""
    command = [sys.executable, "-m", "dashboard.serve", "--store", str(call.store.root.absolute()), "--port", str(call.port)]
    if call.settings:
        command += ["--settings", str(call.settings.absolute())]
    for name in call.allowed_host:
        command += ["--allowed-host", name]
    return command


def _up(call: argparse.Namespace) -> Exit:
    """The server starts while the records are read: its pages follow the store, so the first pictures come before the fit ends."""
    import subprocess

    call.store.settings()
    server = subprocess.Popen(_server(call))
    try:
        _load_and_fit(call)
        return Exit(server.wait())
    finally:
        server.terminate()
        server.wait()


def _load_and_fit(call: argparse.Namespace) -> None:
    from pipeline.cli.keeping import tell_load
    from pipeline.store.load import load

    result = load(call.paths, call.store, call.mapping)
    tell_load(result)
    if result.changed or not call.store.live().has_model:
        from pipeline.answers.fitting import fit_store

        if hasattr(os, "nice"):
            # pages come first: somebody looks at what was just loaded
            os.nice(19)
        fitted = fit_store(call.store)
        say(f"edition {fitted['edition']} is live, with a mass model fitted on {fitted['bodies_used']} bodies")
