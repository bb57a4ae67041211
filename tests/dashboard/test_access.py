"""Who may see what: deny by default, on every run, by verified claims alone."""

from __future__ import annotations

import pytest

from pipeline.answers.access import ACTS, EXPORTS, PAGES, Role, may, may_export, pages_of, require, role_of
from pipeline.answers.exports import EXPORTS as TABLES
from pipeline.answers.exports import export, taken_along
from pipeline.answers.files import Rows
from pipeline.answers.summary import month_summary
from pipeline.errors import WrongCall
from pipeline.settings import Settings
from pipeline.settings_access import AccessSettings
from pipeline.store import Store

NOW = 1_800_000_000.0
ACCESS = AccessSettings(people={"Ada@Example.org": "engineer", "shop@example.org": "customer-screen"})
CLAIMS = {"email": "ada@example.org", "exp": NOW + 60, "iat": NOW - 60}


@pytest.mark.parametrize(
    ("claims", "role"),
    [
        (CLAIMS, Role.ENGINEER),
        (CLAIMS | {"email": "shop@example.org"}, Role.CUSTOMER),
        (CLAIMS | {"email": "stranger@example.org"}, Role.NOBODY),
        (CLAIMS | {"email": None}, Role.NOBODY),
        (CLAIMS | {"email_verified": False}, Role.NOBODY),
        (CLAIMS | {"exp": NOW - 1}, Role.NOBODY),
        (CLAIMS | {"exp": "soon"}, Role.NOBODY),
        ({"email": "ada@example.org"}, Role.NOBODY),
        (CLAIMS | {"iat": NOW - 60 * 721}, Role.NOBODY),
        (None, Role.NOBODY),
        ({}, Role.NOBODY),
    ],
)
def test_a_role_comes_from_verified_claims_alone(claims: dict | None, role: Role) -> None:
    assert role_of(claims, configured=True, access=ACCESS, now=NOW) is role


def test_without_signing_in_the_person_at_the_machine_sees_everything() -> None:
    assert role_of(None, configured=False, access=ACCESS, now=NOW) is Role.EVERYTHING
    assert pages_of(Role.EVERYTHING) == list(PAGES)


def test_nobody_gets_nothing() -> None:
    assert pages_of(Role.NOBODY) == []
    assert not any(may(Role.NOBODY, act) for act in ACTS)
    assert not any(may_export(Role.NOBODY, what) for what in EXPORTS)


def test_a_customer_gets_builds_and_a_sheet_and_nothing_else() -> None:
    assert pages_of(Role.CUSTOMER) == ["for-your-vehicle"]
    assert {act for act in ACTS if may(Role.CUSTOMER, act)} == {"see-builds", "make-sheet"}
    assert not any(may_export(Role.CUSTOMER, what) for what in EXPORTS)


def test_what_is_not_named_is_not_allowed() -> None:
    assert not may(Role.EVERYTHING, "fly")
    assert not may_export(Role.EVERYTHING, "everything")
    with pytest.raises(WrongCall, match="customer-screen"):
        require(Role.CUSTOMER, "see-jobs")


def test_every_table_that_can_be_taken_along_has_its_roles() -> None:
    assert set(TABLES) <= set(EXPORTS)


@pytest.mark.parametrize("role", list(Role))
def test_an_export_asks_who_takes_it_before_it_reads_anything(role: Role) -> None:
    for what in TABLES:
        if not may_export(role, what):
            with pytest.raises(WrongCall, match=f"not for the role '{role.value}'"):
                export(None, what, Settings(), role)
    if not may_export(role, "summary"):
        with pytest.raises(WrongCall, match="not for the role"):
            month_summary(None, Settings(), "2026-10", 1, None, role)


def test_jobs_are_taken_along_without_what_a_role_does_not_see(store: Store) -> None:
    taken = {role: export(store.live(), "jobs", store.settings(), role) for role in (Role.MANAGER, Role.SALES)}
    assert set(taken[Role.MANAGER].columns) - set(taken[Role.SALES].columns) == {"cost"}
    assert taken[Role.SALES].rows == taken[Role.MANAGER].without(["cost"]).rows


def test_rows_of_a_page_become_a_file_only_for_whom_they_may(store: Store) -> None:
    rows = Rows(("family", "share"), [("plain tray", 0.5)])
    assert taken_along(rows, ".csv", Role.SALES) == b"family,share\nplain tray,0.5\n"
    for role in (Role.CUSTOMER, Role.NOBODY):
        with pytest.raises(WrongCall, match="not for the role"):
            taken_along(rows, ".csv", role)
