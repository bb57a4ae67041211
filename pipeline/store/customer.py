"""The key under which customers are hashed: outside every store, so that a copied store names nobody."""

from __future__ import annotations

import os
import secrets
from pathlib import Path

KEY_PLACE = "TAREBOOK_KEY"
"""Environment variable that names another file for the key."""


def customer_key() -> bytes:
    """The key, readable by its owner alone; made when first wanted."""
    path = key_path()
    if not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        try:
            handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        except FileExistsError:
            return path.read_bytes()
        with os.fdopen(handle, "wb") as file:
            file.write(secrets.token_bytes(32))
    return path.read_bytes()


def key_path() -> Path:
    """Where the key lies."""
    import platformdirs

    return Path(os.environ.get(KEY_PLACE) or platformdirs.user_config_path("tarebook") / "customer.key")
