"""Roles over a raw WebSocket: pages, widgets and files of others, asked for by whoever may not have them."""

from __future__ import annotations

import time
import urllib.request
from collections.abc import Iterator

import pytest
import rig
from socket_rig import COOKIE_SECRET, Line, line, status_of
from streamlit.proto.WidgetStates_pb2 import WidgetState

from pipeline.answers.access import Role, pages_of
from pipeline.store import Store
from pipeline.store.load import load

JOB = "SECRET-JOB-4711"
PEOPLE = {"boss": "manager", "seller": "sales", "counter": "customer-screen"}
WEAK = {"a customer's screen": ("counter@example.org", 600.0), "a stranger": ("stranger@example.org", 600.0), "nobody": ("", 600.0),
        "a token that ran out": ("boss@example.org", -1.0)}  # fmt: skip


@pytest.fixture(scope="module")
def guarded(tmp_path_factory: pytest.TempPathFactory) -> Store:
    root = tmp_path_factory.mktemp("raw")
    store = Store(root / "store")
    load([rig.one_job(root, JOB)], store)
    people = "\n".join(f'"{name}@example.org" = "{role}"' for name, role in PEOPLE.items())
    store.settings_file.write_text(f"[access.people]\n{people}\n")
    return store


@pytest.fixture(scope="module")
def served(guarded: Store) -> Iterator[str]:
    port = rig.free_port()
    (guarded.root / "secrets.toml").write_text(
        f'[auth]\nredirect_uri = "http://127.0.0.1:{port}/oauth2callback"\ncookie_secret = "{COOKIE_SECRET}"\nclient_id = "tarebook"\n'
        'client_secret = "only for this test"\nserver_metadata_url = "http://127.0.0.1:9/.well-known/openid-configuration"\n'
    )
    with rig.server(guarded.root, port=port) as address:
        yield address


@pytest.fixture(scope="module")
def boss(served: str) -> Iterator[Line]:
    """The manager, who has been on every page."""
    with line(served, "boss@example.org") as opened:
        opened.rerun()
        for page in opened.pages().values():
            opened.rerun(page)
        opened.rerun(opened.pages()["record-health"], query=f"job={JOB}")
        opened.rerun(opened.pages()["job-finder"], query=f"job={JOB}")
        yield opened


def carried(opened: Line) -> bytes:
    """Everything that came over a line."""
    return b"".join(message.SerializeToString() for message in opened.messages)


def pages_tried(boss: Line, who: str) -> list[str]:
    """Every page for whoever has one; whoever has none is asked to sign in by the same lines whichever it is, so a few will do."""
    named = boss.pages()
    return list(named.values()) if who == "a customer's screen" else [named[name] for name in ("job-finder", "record-health")]


def test_the_manager_sees_the_job_so_the_others_had_something_to_find(boss: Line) -> None:
    assert JOB.encode() in carried(boss)
    assert set(boss.pages()) == {"", *pages_of(Role.MANAGER)}
    typed = [WidgetState(id=box.id, string_value=JOB) for box in boss.elements("text_input")]
    assert any(JOB in str(one) for one in boss.rerun(boss.pages()["job-finder"], typed))


@pytest.mark.parametrize("who", WEAK)
def test_no_page_of_others_runs_for_its_hash(served: str, boss: Line, who: str) -> None:
    with line(served, *WEAK[who]) as opened:
        for page in pages_tried(boss, who):
            opened.rerun(page)
        told = carried(opened)
    assert JOB.encode() not in told
    names = {"for-your-vehicle"} if who == "a customer's screen" else set()
    assert {name for name in boss.pages() if name and name.encode() in told} <= names
    assert {page.url_pathname for one in opened.messages if one.HasField("navigation") for page in one.navigation.app_pages} <= {*names, ""}


@pytest.mark.parametrize("who", WEAK)
def test_no_widget_of_others_does_anything(served: str, guarded: Store, boss: Line, who: str) -> None:
    before = guarded.live_name(), sorted(path.name for path in guarded.root.iterdir())
    pressed = [WidgetState(id=button.id, trigger_value=True) for button in boss.elements("button")]
    typed = [WidgetState(id=box.id, string_value=JOB) for box in boss.elements("text_input")]
    fragments = {one.delta.fragment_id for one in boss.messages if one.HasField("delta")} - {""}
    assert pressed
    assert typed
    with line(served, *WEAK[who]) as opened:
        opened.rerun()
        for page in pages_tried(boss, who):
            opened.rerun(page, [*pressed, *typed])
        for fragment in fragments:
            opened.throw_part(boss.pages()["record-health"], fragment, [*pressed, *typed])
        opened.file("no such file")
        opened.rerun()
        told = carried(opened)
    assert JOB.encode() not in told.replace(b"".join(one.SerializeToString() for one in typed), b"")
    assert (guarded.live_name(), sorted(path.name for path in guarded.root.iterdir())) == before


def test_whoever_may_takes_a_file_along_and_its_address_cannot_be_guessed(served: str, boss: Line) -> None:
    before = {button.deferred_file_id for button in boss.elements("download_button")}
    # a session keeps the files of its last run alone
    boss.rerun(boss.pages()["job-finder"], query=f"job={JOB}")
    made = [button.deferred_file_id for button in boss.elements("download_button") if button.deferred_file_id not in before]
    answers = [boss.file(file_id) for file_id in made[-3:]]
    assert len(answers) == 3
    urls = [answer.deferred_file.url for answer in answers]
    assert all(urls), answers
    taken = [urllib.request.urlopen(f"{served}{url}", timeout=20).read() for url in urls]
    assert any(JOB.encode() in data for data in taken)
    for url in urls:
        place = url.partition(".")[0]
        # a name of 128 bits and more; one letter off is another file
        assert len(place.rpartition("/")[2]) >= 32
        assert status_of(f"{served}{place[:-1]}{'0' if place[-1] != '0' else '1'}") == 404


def test_a_file_is_asked_for_in_ones_own_session_alone(served: str, boss: Line) -> None:
    file_id = next(button.deferred_file_id for button in boss.elements("download_button") if button.deferred_file_id)
    with line(served, "counter@example.org") as opened:
        opened.rerun()
        assert "session" in opened.file(file_id, boss.session_id).error_msg
        for guess in ("", "0" * len(file_id), file_id[:-1]):
            assert opened.file(guess).error_msg
    assert len(file_id) >= 32


def test_a_page_that_lies_open_is_taken_away_when_the_sign_in_runs_out(served: str, boss: Line) -> None:
    """The page's own look-out runs by itself every few seconds, without the rest of the page."""
    ends = time.time() + 12.0
    with line(served, "boss@example.org", 12.0) as manager, line(served, "counter@example.org", 12.0) as counter:
        for opened in (manager, counter):
            opened.rerun()
        assert set(manager.pages()) == {"", *pages_of(Role.MANAGER)}
        assert set(counter.pages()) == {"", *pages_of(Role.CUSTOMER)}
        time.sleep(max(0.0, ends - time.time()))
        for opened in (manager, counter):
            (repeated,) = {one.auto_rerun.fragment_id for one in opened.messages if one.HasField("auto_rerun")}
            opened.throw_part(opened.pages()[""], repeated, ())
            opened.wait_for_button("Sign in")


def test_a_customer_who_types_a_job_into_the_address_gets_the_customers_page(served: str) -> None:
    with line(served, "counter@example.org") as opened:
        for query in (f"job={JOB}", f"for={JOB}&vehicles=V1&since=2026-01&until=2026-02", "beside=1-tray"):
            opened.rerun(query=query)
        said = [one.body for one in opened.elements("markdown")]
        assert any("Tell us which vehicle it is" in text for text in said)
        assert not any(JOB in text or "2026-02-05" in text for text in said)
