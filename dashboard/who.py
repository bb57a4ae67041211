"""Who is at the page: the role out of verified claims, asked anew on every run."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import streamlit as st

from dashboard import live
from pipeline.answers.access import Role, role_of


@dataclass(frozen=True)
class Asking:
    """Whoever is at the page, for files too: those are made outside of any run, when somebody takes them.

    Attributes:
        claims: of the identity token; None: not signed in.
        guarded: whether people must sign in here.
    """

    claims: Mapping[str, Any] | None
    guarded: bool

    @property
    def role(self) -> Role:
        """The role at this moment: a token that has run out since, or a role taken away, counts no more."""
        return role_of(self.claims, self.guarded, live.settings().access)

    @property
    def name(self) -> str:
        """What to call them, for what they add to the store."""
        return str((self.claims or {}).get("email") or "somebody at this machine")


def asking() -> Asking:
    """Whoever is at the page of this run."""
    return Asking(claims(), signing_in())


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
    return asking().role


def name() -> str:
    """What to call whoever is at the page, for what they add to the store."""
    return asking().name
