"""Who is at the page: the role out of verified claims, asked anew on every run."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import streamlit as st

from dashboard import live
from pipeline.answers.access import Role, role_of


def signing_in() -> bool:
    """Whether this server was set up for people to sign in."""
    try:
        return "auth" in st.secrets
    except FileNotFoundError:
        return False


def claims() -> Mapping[str, Any] | None:
    """The claims of whoever is signed in, or None."""
    return st.user.to_dict() if signing_in() and st.user.get("is_logged_in") else None


def role() -> Role:
    """The role of whoever is at the page."""
    return role_of(claims(), signing_in(), live.settings().access)


def name() -> str:
    """What to call whoever is at the page, for what they add to the store."""
    found = claims() or {}
    return str(found.get("email") or "somebody at this machine")
