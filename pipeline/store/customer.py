"""The key under which customers are hashed: outside every store, so that a copied store names nobody."""

from __future__ import annotations

import os
import secrets
from contextlib import suppress
from pathlib import Path

from pipeline.errors import StoreBroken
from pipeline.store.disk import flush, make_folder, write_whole

BYTES = 32
KEY_PLACE = "TAREBOOK_KEY"
"""Environment variable that names another file for the key."""


def customer_key() -> bytes:
    """The key, readable by its owner alone; made when first wanted. Raises: StoreBroken: it is cut short."""
    path = key_path()
    if not path.exists():
        make_folder(path.parent)
        made = path.with_name(f".{path.name}.{secrets.token_hex(4)}")
        write_whole(made, secrets.token_bytes(BYTES), 0o600)
        # A link appears whole, and never in place of a key that somebody else has made meanwhile.
        with suppress(FileExistsError):
            os.link(made, path)
        made.unlink()
        flush(path.parent)
    key = path.read_bytes()
    if len(key) < BYTES:
        raise StoreBroken(
            "the customer key is cut short", where=str(path), got=f"{len(key)} bytes", expected=f"{BYTES}", do="put it back from its backup"
        )
    return key


def key_path() -> Path:
    """Where the key lies."""
    import platformdirs

    return Path(os.environ.get(KEY_PLACE) or platformdirs.user_config_path("tarebook") / "customer.key")
