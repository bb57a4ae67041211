"""Who may see what, and who may do what: the one place, deny by default. Pages, exports and sheets all ask here."""

from __future__ import annotations

import time
from collections.abc import Mapping
from enum import StrEnum
from typing import Any

from pipeline.errors import WrongCall
from pipeline.settings_access import AccessSettings


class Role(StrEnum):
    """What somebody is to the workshop. `everything` is the person at the machine while nobody has to sign in."""

    EVERYTHING = "everything"
    MANAGER = "manager"
    ENGINEER = "engineer"
    SALES = "sales"
    CUSTOMER = "customer-screen"
    NOBODY = "nobody"


_STAFF = frozenset({Role.EVERYTHING, Role.MANAGER, Role.ENGINEER, Role.SALES})
_OFFICE = frozenset({Role.EVERYTHING, Role.MANAGER, Role.ENGINEER})
_KEEPERS = frozenset({Role.EVERYTHING, Role.MANAGER})
_ALL = _STAFF | {Role.CUSTOMER}

PAGES: dict[str, frozenset[Role]] = {
    "start": _STAFF,
    "what-sells": _STAFF,
    "layout-families": _STAFF,
    "near-the-limit": _OFFICE,
    "early-mass": _STAFF,
    "for-your-vehicle": _ALL,
    "job-finder": _STAFF,
    "model-check": _OFFICE,
    "record-health": _OFFICE,
    "settings": _KEEPERS,
}
"""Pages in the order of the list, with the roles that get them; whoever is not named gets nothing."""

ACTS: dict[str, frozenset[Role]] = {
    "take-along": _STAFF,
    "load": _OFFICE,
    "settle": _OFFICE,
    "type-ticket": _STAFF,
    "keep-draft": _STAFF,
    "keep-view": _STAFF,
    "see-prices": _STAFF,
    "see-costs": _KEEPERS,
    "see-jobs": _STAFF,
    "see-notes": _STAFF,
    "make-sheet": _ALL,
    "see-builds": _ALL,
}

EXPORTS: dict[str, frozenset[Role]] = {
    **dict.fromkeys(("vehicles", "upgrades", "items", "bodies", "fitout", "jobs"), _STAFF),
    **dict.fromkeys(("families", "trends", "conversion", "pairs", "summary", "margins"), _STAFF),
    **dict.fromkeys(("on_vehicle", "weighings", "settlements", "accounts", "rejects", "suspects", "doubts"), _OFFICE),
    # whole rows of every table, costs included
    **dict.fromkeys(("history", "lake"), _KEEPERS),
}
"""Tables that can be taken along, with the roles that may."""

GUARDED = {"price": "see-prices", "cost": "see-costs", "note": "see-notes", "folder": "see-notes"}
"""Columns of jobs that not everybody who sees a job may see, with the act that lets them."""


def pages_of(role: Role) -> list[str]:
    """Names of the pages a role gets, in the order of the list.

    >>> pages_of(Role.CUSTOMER), pages_of(Role.NOBODY)
    (['for-your-vehicle'], [])
    """
    return [page for page, roles in PAGES.items() if role in roles]


def may(role: Role, act: str) -> bool:
    """Whether a role may do a thing of ACTS; an unknown thing is not allowed.

    >>> may(Role.SALES, "see-costs"), may(Role.EVERYTHING, "fly")
    (False, False)
    """
    return role in ACTS.get(act, frozenset())


def may_export(role: Role, what: str) -> bool:
    """Whether a role may take a table along.

    >>> may_export(Role.CUSTOMER, "jobs"), may_export(Role.MANAGER, "jobs")
    (False, True)
    """
    return role in EXPORTS.get(what, frozenset())


def hidden_columns(role: Role) -> list[str]:
    """Columns of jobs that a role does not see.

    >>> hidden_columns(Role.SALES), hidden_columns(Role.MANAGER)
    (['cost'], [])
    """
    return [column for column, act in GUARDED.items() if not may(role, act)]


def require(role: Role, act: str) -> None:
    """Raises: WrongCall: the role may not do this."""
    if not may(role, act):
        raise _not_for(role, act)


def require_export(role: Role, what: str) -> None:
    """Raises: WrongCall: the role may not take this along."""
    if not may_export(role, what):
        raise _not_for(role, f"export {what}")


def _not_for(role: Role, what: str) -> WrongCall:
    return WrongCall(f"not for the role {role.value!r}", got=what, do="ask whoever keeps the settings (access.people)")


def role_of(claims: Mapping[str, Any] | None, configured: bool, access: AccessSettings, now: float | None = None) -> Role:
    """The role of whoever is at the page, out of verified claims, asked on every run.

    Args:
        claims: those of the identity token, already checked by whoever received it; None: not signed in.
        configured: signing in is set up for this server; if not, the person at the machine sees everything.
        now: seconds since 1970; None: the clock.
    """
    if not configured:
        return Role.EVERYTHING
    if not claims or not _fresh(claims, access, time.time() if now is None else now):
        return Role.NOBODY
    email = claims.get("email")
    if not isinstance(email, str) or claims.get("email_verified") is False:
        return Role.NOBODY
    known = {person.casefold(): role for person, role in access.people.items()}
    named = known.get(email.casefold())
    return Role(named) if named else Role.NOBODY


def _fresh(claims: Mapping[str, Any], access: AccessSettings, now: float) -> bool:
    """The token says until when it holds, and the settings how long a sign-in may last; a token without a date is none."""
    try:
        expires = float(claims["exp"])
        issued = float(claims.get("iat", expires))
    except (KeyError, TypeError, ValueError):
        return False
    return now < expires and now < issued + 60.0 * access.session_minutes
