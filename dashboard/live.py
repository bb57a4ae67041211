"""The live edition, looked up on every run; what is asked of one is remembered under its name, never under a frame."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import streamlit as st

from dashboard.places import SETTINGS_PLACE, STORE_PLACE
from pipeline.answers.kept_margins import PastMargins, past_margins
from pipeline.errors import NoModel, NoStore
from pipeline.mass.model import Model
from pipeline.settings import Settings, load_settings
from pipeline.store import Edition, Store

T = TypeVar("T")


def store() -> Store:
    """The store this server was started on."""
    other = os.environ.get(SETTINGS_PLACE)
    return Store(Path(os.environ.get(STORE_PLACE) or ".tarebook").absolute(), Path(other) if other else None)


def edition() -> Edition | None:
    """The live edition by what the pointer says now; None where nothing was ever loaded."""
    here = store()
    name = here.live_name()
    try:
        return _opened(str(here.root), name) if name else here.live()
    except NoStore:
        return None


@st.cache_resource(max_entries=4, show_spinner=False, on_release=Edition.close)
def _opened(root: str, name: str) -> Edition:
    here = Store(Path(root))
    # by name and not by pointer, which may have moved on meanwhile
    return next((one for one in here.editions() if one.name == name), None) or here.live()


def settings() -> Settings:
    """The store's settings, read again when their file changes. Raises: InputRefused."""
    path = store().settings_file
    return _settings(str(path), _stamp(path))


@st.cache_resource(max_entries=4, show_spinner=False)
def _settings(path: str, changed: tuple[int, int]) -> Settings:
    return load_settings(Path(path))


def _stamp(path: Path) -> tuple[int, int]:
    try:
        found = path.stat()
    except OSError:
        return 0, 0
    return found.st_mtime_ns, found.st_size


def model(of: Edition) -> Model | None:
    """The mass model of an edition, or None where none was fitted."""
    return _model(str(of.path), of)


@st.cache_resource(max_entries=4, show_spinner=False)
def _model(path: str, _edition: Edition) -> Model | None:
    try:
        return Model.from_json(_edition.model_text())
    except NoModel:
        return None


def ask(question: Callable[..., T], *args: Any) -> T:
    """Answer a question of the live edition, `question(cursor, settings, *args)`, remembered by edition, settings and args.

    Raises: NoStore; whatever the question raises.
    """
    return _remembered(question, args, lambda now, given: question(now.cursor(), given, *args))


def ask_edition(question: Callable[..., T], *args: Any) -> T:
    """As `ask`, for a question that wants the edition itself and its model: `question(edition, model, settings, *args)`."""
    return _remembered(question, args, lambda now, given: question(now, model(now), given, *args))


def _remembered(question: Callable[..., T], args: tuple[Any, ...], answer: Callable[[Edition, Settings], T]) -> T:
    here = store()
    # the live edition by its name alone: a page asks dozens of questions, and most are answered already
    name = here.live_name() or here.live().name
    return _asked(f"{question.__module__}.{question.__qualname__}", str(here.root), name, _stamp(here.settings_file), args, answer)


@st.cache_data(max_entries=256, show_spinner="Reading the records")
def _asked(
    question: str,
    root: str,
    edition_name: str,
    changed: tuple[int, int],
    args: tuple[Any, ...],
    _answer: Callable[[Edition, Settings], Any],
) -> Any:
    return _answer(_opened(root, edition_name), settings())


def margins() -> PastMargins:
    """Margins of all delivered jobs of the live edition: kept in it, or reckoned once for all sessions."""
    now = edition()
    if now is None:
        raise NoStore("no store here", where=str(store().root), do="`tarebook load PATH` makes one")
    return _margins(str(now.path), _stamp(store().settings_file), now, settings())


@st.cache_resource(max_entries=2, show_spinner="Putting past jobs on their vehicles")
def _margins(path: str, changed: tuple[int, int], _edition: Edition, _settings: Settings) -> PastMargins:
    return past_margins(_edition, _settings)
