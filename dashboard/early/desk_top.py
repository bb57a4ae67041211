"""The drafts on this session's desk: up to three, by letter, kept while the session lasts."""

from __future__ import annotations

from typing import Any

import msgspec
import streamlit as st

from pipeline.answers.draft import Draft, DraftBody, DraftLine

LETTERS = ("A", "B", "C")


def drafts() -> dict[str, Draft]:
    """The drafts by letter, in the order of LETTERS."""
    return st.session_state.setdefault("drafts", {})


def letter() -> str:
    """The draft that is being worked on."""
    chosen = st.session_state.get("letter")
    return chosen if chosen in LETTERS else LETTERS[0]


def put(letter: str, draft: Draft) -> None:
    """Lay a draft on the desk; the form shows it from the next run on."""
    drafts()[letter] = draft
    anew()


def anew() -> None:
    """Let the form show the drafts as they lie on the desk."""
    st.session_state["form_turn"] = st.session_state.get("form_turn", 0) + 1


def key(name: str) -> str:
    """A widget's key: another one for each letter and each draft that is laid on the desk, so that a form never shows what was before."""
    return f"{letter()}-{st.session_state.get('form_turn', 0)}-{name}"


def change(**fields: Any) -> None:
    """Change the draft that is being worked on."""
    drafts()[letter()] = msgspec.structs.replace(drafts()[letter()], **fields)


def change_body(place: int, **fields: Any) -> None:
    """Change one body of the draft that is being worked on."""
    bodies = list(drafts()[letter()].bodies)
    bodies[place] = msgspec.structs.replace(bodies[place], **fields)
    change(bodies=tuple(bodies))


def add_line(place: int, line: DraftLine) -> None:
    change_body(place, lines=(*drafts()[letter()].bodies[place].lines, line))


def add_body(body: DraftBody) -> None:
    change(bodies=(*drafts()[letter()].bodies, body))
    anew()


def drop_body(place: int) -> None:
    bodies = drafts()[letter()].bodies
    change(bodies=bodies[:place] + bodies[place + 1 :])
    anew()
