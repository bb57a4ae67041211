"""Start the dashboard with its settings, wherever it is started: `python -m dashboard.serve --store DIR --port 8501`."""

from __future__ import annotations

import argparse
import contextlib
import ctypes
import importlib
import os
import threading
import time
from collections.abc import Sequence
from pathlib import Path

from dashboard.places import SETTINGS_PLACE, STORE_PLACE
from pipeline.store import Store

_HERE = Path(__file__).parent
_SECRETS = "secrets.toml"
"""In the store's folder: the `[auth]` section that makes people sign in."""
WANTED = ("dashboard.frame", "duckdb")
"""The frame is all that `app.py` imports, so a page waits until it is whole and never meets it halfway."""
_ARENA_MAX = -8
"""Number of the setting in the C library's `mallopt` (glibc's malloc.h: M_ARENA_MAX)."""


def few_arenas() -> None:
    """Keep the C library's memory in two arenas.

    Scripts run in threads that come and go, and each of many arenas keeps what its threads once had: in ten minutes of 25 people looking
    the server grew by 17 % before, and by 9 % with two.
    """
    with contextlib.suppress(AttributeError):  # other C libraries have no such setting, nor the need
        ctypes.CDLL(None).mallopt(_ARENA_MAX, 2)


def options(store: Store, port: int, address: str, allowed_hosts: Sequence[str] = ()) -> list[str]:
    """Every setting of the server, since its own file of settings is read from the working folder only."""
    upload_mb = max(1, int(store.settings().intake.max_upload_mb))
    given = {
        "server.port": port,
        "server.address": address,
        "server.headless": "true",
        "server.fileWatcherType": "none",
        "server.runOnSave": "false",
        "server.enableCORS": "true",
        "server.enableXsrfProtection": "true",
        "server.enableStaticServing": "false",
        "server.maxUploadSize": upload_mb,
        "server.maxMessageSize": 50,
        "browser.gatherUsageStats": "false",
        "client.toolbarMode": "viewer",
        "client.showErrorDetails": "none",
        "client.showErrorLinks": "false",
        "theme.base": str(_HERE / "theme.toml"),
    }
    listed = [f"--{name}={value}" for name, value in given.items()]
    listed += [f"--server.allowedHosts={name}" for name in allowed_hosts]
    if (store.root / _SECRETS).exists():
        listed.append(f"--secrets.files={store.root / _SECRETS}")
    return listed


def serve(store: Store, port: int = 8501, address: str = "127.0.0.1", allowed_hosts: Sequence[str] = ()) -> None:
    """Be the server of a store; does not return.

    Args:
        address: where to listen; anything but this machine wants a TLS proxy in front and people who sign in.
        allowed_hosts: names under which the page may be asked for; none: any.
    Raises: InputRefused: the store's settings cannot be read.
    """
    few_arenas()
    os.environ[STORE_PLACE] = str(store.root)
    if store.other_settings:
        os.environ[SETTINGS_PLACE] = str(store.other_settings)
    given = options(store, port, address, allowed_hosts)
    from streamlit.web.cli import main as streamlit  # only now: settings that cannot be read are told before that

    threading.Thread(target=_bring_in, daemon=True).start()
    streamlit(["run", str(_HERE / "app.py"), *given], prog_name="streamlit")


def _bring_in() -> None:
    """Import what the first page needs while its browser is still on the way."""
    from streamlit import runtime

    # what remembers answers asks for the runtime when it is imported
    while not runtime.exists():
        time.sleep(0.01)
    for module in WANTED:
        importlib.import_module(module)


def main() -> None:
    """Read the command line and serve."""
    parser = argparse.ArgumentParser(prog="python -m dashboard.serve", description="Serve the dashboard of a store.")
    parser.add_argument("--store", type=Path, default=Path(os.environ.get(STORE_PLACE) or ".tarebook"))
    parser.add_argument("--settings", type=Path, help="settings in place of the store's tarebook.toml")
    parser.add_argument("--port", type=int, default=8501)
    parser.add_argument("--address", default="127.0.0.1")
    parser.add_argument(
        "--allowed-host", action="append", default=[], help="a name under which the page may be asked for; several are welcome"
    )
    given = parser.parse_args()
    store = Store(given.store.absolute(), given.settings and given.settings.absolute())
    serve(store, given.port, given.address, given.allowed_host)


if __name__ == "__main__":
    main()
