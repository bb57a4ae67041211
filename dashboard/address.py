"""Choices that stand in the address by their ids, so that a link means the same after a label was changed.

A bound list would write its labels there. So the ids are held by a bound text of their own, which nobody sees, and the
list beside it shows the labels; the text is what reload, Back and a sent link bring back.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import streamlit as st

from dashboard.words import escaped

_BETWEEN = "|"


def several(label: str, key: str, options: Mapping[Any, str], **looks: Any) -> list[Any]:
    """A list of which several can be chosen; `options` are labels by id, `looks` go to the widget. Gives the ids."""
    found = _known(key, options)
    _show(key, found)
    st.multiselect(
        label, list(options), format_func=options.__getitem__, key=_shown(key), select_all=False, on_change=_hold, args=(key,), **looks
    )
    return found


def one(label: str, key: str, options: Mapping[Any, str], default: Any = None, **looks: Any) -> Any:
    """As `several`, for a list of which one can be chosen; where none is: `default`."""
    found = next(iter(_known(key, options)), default)
    _show(key, found)
    st.selectbox(label, list(options), index=None, format_func=options.__getitem__, key=_shown(key), on_change=_hold, args=(key,), **looks)
    return found


def chosen(key: str) -> tuple[Any, ...]:
    """The ids that are chosen and known."""
    return _listed(st.session_state.get(_shown(key)))


def clear(key: str) -> None:
    """Choose nothing; for callbacks."""
    st.session_state[key] = ""


def tell_unknown(label: str, key: str) -> None:
    """Say which ids of the address are not in the records and therefore left out."""
    unknown = st.session_state.get(f"{key}-unknown")
    if unknown:
        st.warning(f"{label}: these records have no {escaped(', '.join(unknown))}, which the address asks for. It is left out.")


def _known(key: str, options: Mapping[Any, str]) -> list[Any]:
    """The ids that the address holds; what is not among the options is put aside for `tell_unknown`."""
    # page.css hides containers of this name
    with st.container(key=f"address-{key}"):
        text = st.text_input(key, key=key, bind="query-params", label_visibility="collapsed") or ""
    held, by_text = [part for part in text.split(_BETWEEN) if part], {str(option): option for option in options}
    st.session_state[f"{key}-unknown"] = [part for part in held if part not in by_text]
    return [by_text[part] for part in held if part in by_text]


def _show(key: str, value: Any) -> None:
    """Let the list show what the address holds."""
    if st.session_state.get(_shown(key)) != value:
        st.session_state[_shown(key)] = value


def _hold(key: str) -> None:
    """Let the address hold what the list shows."""
    st.session_state[key] = _BETWEEN.join(map(str, chosen(key)))


def _listed(value: Any) -> tuple[Any, ...]:
    return () if value is None else tuple(value) if isinstance(value, list) else (value,)


def _shown(key: str) -> str:
    return f"{key}-chosen"
