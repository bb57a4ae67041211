"""Start the dashboard with its settings, wherever it is started: `python -m dashboard.serve --store DIR --port 8501`."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from pathlib import Path

from dashboard.places import SETTINGS_PLACE, STORE_PLACE
from pipeline.store import Store

_HERE = Path(__file__).parent
_SECRETS = "secrets.toml"
"""In the store's folder: the `[auth]` section that makes people sign in."""


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
    """Become the server of a store; does not return.

    Args:
        address: where to listen; anything but this machine wants a TLS proxy in front and people who sign in.
        allowed_hosts: names under which the page may be asked for; none: any.
    Raises: InputRefused: the store's settings cannot be read.
    """
    places = {STORE_PLACE: str(store.root)} | ({SETTINGS_PLACE: str(store.other_settings)} if store.other_settings else {})
    command = [sys.executable, "-m", "streamlit", "run", str(_HERE / "app.py"), *options(store, port, address, allowed_hosts)]
    # in place of this process, so that signals and the process's number are the server's
    os.execve(sys.executable, command, {**os.environ, **places})  # noqa: S606


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
