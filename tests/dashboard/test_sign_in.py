"""Signing in against a real OpenID provider on this machine: each role, a stranger, an expired token, two people, signing out."""

from __future__ import annotations

import contextlib
import json
import shutil
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pymupdf
import pytest
import rig

from pipeline.answers.access import Role, pages_of
from pipeline.store import Store, desk
from pipeline.store.load import load

pytestmark = [pytest.mark.browser, rig.needs_browser]

PEOPLE = {"boss": "manager", "draughtsman": "engineer", "seller": "sales", "counter": "customer-screen"}


@contextlib.contextmanager
def provider(max_age_s: int = 3600) -> Iterator[int]:
    """oidc-provider-mock in a process of its own, with the people of PEOPLE and a stranger."""
    port = rig.free_port()
    command = [Path(sys.executable).with_name("oidc-provider-mock"), "-p", str(port), "-e", str(max_age_s)]
    for name in (*PEOPLE, "stranger"):
        command += ["--user-claims", json.dumps({"sub": name, "email": f"{name}@example.org", "email_verified": True})]
    process = subprocess.Popen(list(map(str, command)), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        end = time.monotonic() + 30
        while time.monotonic() < end:
            url = f"http://127.0.0.1:{port}/.well-known/openid-configuration"
            with contextlib.suppress(OSError), urllib.request.urlopen(url, timeout=2):
                break
            time.sleep(0.2)
        yield port
    finally:
        process.terminate()
        process.wait(timeout=20)


@pytest.fixture(scope="module")
def guarded(tmp_path_factory: pytest.TempPathFactory) -> Store:
    root = tmp_path_factory.mktemp("guarded")
    store = Store(root / "store")
    load([rig.one_job(root)], store)
    people = "\n".join(f'"{name}@example.org" = "{role}"' for name, role in PEOPLE.items())
    store.settings_file.write_text(f"[access.people]\n{people}\n")
    return store


@contextlib.contextmanager
def guarded_server(store: Store, max_age_s: int = 3600) -> Iterator[str]:
    port = rig.free_port()
    with provider(max_age_s) as at:
        (store.root / "secrets.toml").write_text(
            f'[auth]\nredirect_uri = "http://127.0.0.1:{port}/oauth2callback"\ncookie_secret = "only for this test"\n'
            'client_id = "tarebook"\n'
            f'client_secret = "only for this test"\nserver_metadata_url = "http://127.0.0.1:{at}/.well-known/openid-configuration"\n'
        )
        with rig.server(store.root, port=port) as address:
            yield address


def sign_in(page: Any, address: str, name: str) -> None:
    page.goto(address)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/oauth2/authorize**")
    page.locator("input[name=sub]").fill(name)
    page.get_by_role("button", name="Authorize").first.click()
    page.wait_for_url(f"{address}/**", timeout=60_000)
    rig.settle(page)


def pages_shown(page: Any) -> list[str]:
    return [link.get_attribute("href").rsplit("/", 1)[-1] for link in page.locator("[data-testid=stSidebarNavLink]").all()]


def test_each_role_gets_its_pages_and_no_other_by_address(guarded: Store) -> None:
    with guarded_server(guarded) as address, rig.browser() as chromium:
        for name, role in PEOPLE.items():
            context = chromium.new_context()
            page = context.new_page()
            sign_in(page, address, name)
            wanted = pages_of(Role(role))
            assert page.get_by_text(f"Signed in as {name}@example.org").count() or role == "customer-screen"
            if len(wanted) > 1:
                assert pages_shown(page) == ["", *wanted[1:]]
            for forbidden in set(pages_of(Role.EVERYTHING)) - set(wanted):
                page.goto(f"{address}/{forbidden}")
                rig.settle(page)
                assert page.get_by_role("heading", level=1).inner_text().casefold().replace(" ", "-") == wanted[0]
            context.close()


def test_who_is_signed_in_takes_a_sheet_along_and_the_desk_says_who_it_was(tmp_path: Path, store: Store) -> None:
    guarded = Store(tmp_path / "store")
    shutil.copytree(store.root, guarded.root, ignore=shutil.ignore_patterns("desk.sqlite*"))
    guarded.settings_file.write_text('[access.people]\n"seller@example.org" = "sales"\n"counter@example.org" = "customer-screen"\n')
    cursor = guarded.live().cursor()
    vehicle_id = cursor.execute("SELECT vehicle_id FROM current_jobs GROUP BY 1 ORDER BY count(*) DESC LIMIT 1").fetchall()[0][0]
    jobs = {row[0] for row in cursor.execute("SELECT DISTINCT job_id FROM current_jobs").fetchall()}
    with guarded_server(guarded) as address, rig.browser() as chromium:
        for name in ("seller", "counter"):
            page = rig.context(chromium).new_page()
            page.set_default_timeout(rig.PATIENCE_MS)
            sign_in(page, address, name)
            page.goto(f"{address}/for-your-vehicle?for={vehicle_id}")
            page.get_by_text("Left for people, luggage and tow ball").first.wait_for()
            rig.settle(page)
            assert page.get_by_role("dialog").count() == 0
            page.get_by_role("button", name="Sheet to take home").first.click()
            with page.expect_download() as download:
                page.get_by_role("button", name="PDF, A4").click()
            with pymupdf.open(download.value.path()) as document:
                words = {word[4].strip(".,:;()") for sheet in document for word in sheet.get_text("words")}
            assert "weighbridge" in words
            # whoever asks: this page's sheet is a customer's, and tells of nobody's job
            assert not words & jobs
            (kept,) = desk.drafts(guarded)
            assert kept.who == f"{name}@example.org"
            desk.forget_draft(guarded, kept.code)
            page.context.close()


def test_a_stranger_sees_nothing_and_may_sign_out(guarded: Store) -> None:
    with guarded_server(guarded) as address, rig.browser() as chromium:
        page = chromium.new_context().new_page()
        page.goto(f"{address}/job-finder?job=J1")
        rig.settle(page)
        assert page.get_by_text("J1").count() == 0
        sign_in(page, address, "stranger")
        assert page.get_by_text("has not given you a role").is_visible()
        assert page.locator("[data-testid=stSidebarNavLink]").count() == 0
        page.get_by_role("button", name="Sign out").click()
        page.wait_for_timeout(1500)
        page.goto(address)
        rig.settle(page)
        assert page.get_by_text("has not given you a role").count() == 0


def test_two_people_at_once_keep_their_roles_and_a_token_that_ran_out_counts_no_more(guarded: Store) -> None:
    with guarded_server(guarded, max_age_s=25) as address, rig.browser() as chromium:
        boss, counter = (chromium.new_context().new_page() for _ in range(2))
        sign_in(boss, address, "boss")
        sign_in(counter, address, "counter")
        counter.reload()
        rig.settle(counter)
        assert counter.get_by_role("heading", level=1).inner_text() == "For your vehicle"
        boss.reload()
        rig.settle(boss)
        assert boss.get_by_role("heading", level=1).inner_text() == "Start"
        boss.wait_for_timeout(26_000)
        boss.reload()
        rig.settle(boss)
        assert boss.get_by_text("your sign-in has run out").is_visible()
        assert boss.locator("[data-testid=stSidebarNavLink]").count() == 0
