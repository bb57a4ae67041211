"""Choices that stand in the address by their ids, so that a link means the same after a label was changed.

What a page asks for itself stands in the address of that page: each choice is a step that Back takes back, and the menu leads to the
page as it opens. What all pages share (filters, units) has to stay on the way between them, which the library does for bound widgets
alone; these write their labels, so a bound text of its own, which nobody sees, holds the ids.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import streamlit as st

from dashboard.words import escaped

_BETWEEN = "|"


def several(
    label: str,
    key: str,
    options: Mapping[Any, str],
    default: tuple[Any, ...] = (),
    widget: Callable[..., Any] = st.multiselect,
    shared: bool = False,
    **looks: Any,
) -> list[Any]:
    """A list of which several can be chosen; where none is: `default`.

    Args:
        options: labels by id.
        widget: what shows it; `looks` go there.
        shared: by all pages, so that it stays on the way between them; whoever draws it tells what is unknown.
    Returns: the ids.
    """
    found = _known(key, options, shared) or list(default)
    _draw(widget, label, key, options, found, default, shared, {"select_all": False} if widget is st.multiselect else {}, looks)
    return found


def one(
    label: str,
    key: str,
    options: Mapping[Any, str],
    default: Any = None,
    widget: Callable[..., Any] = st.selectbox,
    shared: bool = False,
    **looks: Any,
) -> Any:
    """As `several`, for a list of which one can be chosen."""
    found = next(iter(_known(key, options, shared)), default)
    _draw(widget, label, key, options, found, default, shared, {"index": None} if widget is st.selectbox else {}, looks)
    return found


def tabs(key: str, options: Mapping[str, str]) -> dict[str, Any]:
    """Tabs by id, `options` being their labels; the first is open unless the address asks for another."""
    first, *_ = options
    found = next(iter(_known(key, options, shared=False)), first)
    _show(key, options[found])
    ids = {label: name for name, label in options.items()}
    drawn = st.tabs(list(ids), key=_shown(key), on_change=lambda: _write(key, ids[chosen(key)[0]], first))
    tell_unknown("Tab", key)
    return dict(zip(options, drawn, strict=True))


def text(label: str, key: str, **looks: Any) -> str:
    """Some words."""
    found = st.query_params.get(key, "")
    _show(key, found)
    st.text_input(label, key=_shown(key), on_change=_hold, args=(key, "", False), **looks)
    return found.strip()


def number(label: str, key: str, per: float = 1.0, **looks: Any) -> float | None:
    """A number that is not negative, or none; shown in units of which one is `per` of those in the address."""
    given = st.query_params.get(key, "")
    found = _number(given)
    _show(key, None if found is None else round(found / per, 4))
    st.number_input(label, 0.0, value=None, key=_shown(key), on_change=_hold, args=(key, None, False, per), format="%g", **looks)
    if given and found is None:
        st.warning(f"{label}: the address asks for {escaped(given)}, which is no number from 0 on. It is left out.")
    return found


def chosen(key: str) -> tuple[Any, ...]:
    """The ids that are chosen and known."""
    return _listed(st.session_state.get(_shown(key)))


def put(key: str, value: str) -> None:
    """Choose something on a page; for callbacks."""
    _write(key, value, "")


def share(key: str, ids: str) -> None:
    """Choose what all pages share, as the address has it; empty: nothing. For callbacks."""
    st.session_state[key] = ids


def tell_unknown(label: str, key: str) -> None:
    """Say which ids of the address are not to be chosen, and therefore left out."""
    unknown = st.session_state.get(f"{key}-unknown")
    if unknown:
        st.warning(f"{label}: the address asks for {escaped(', '.join(unknown))}, which is not to be found here. It is left out.")


def _draw(
    widget: Callable[..., Any], label: str, key: str, options: Mapping[Any, str], found: Any, default: Any, shared: bool, *looks: dict
) -> None:
    _show(key, found)
    more = {name: value for given in looks for name, value in given.items()}
    widget(label, list(options), format_func=options.__getitem__, key=_shown(key), on_change=_hold, args=(key, default, shared), **more)
    if not shared:
        tell_unknown(label, key)


def _known(key: str, options: Mapping[Any, str], shared: bool) -> list[Any]:
    """The ids that the address holds; what is not among the options is put aside for `tell_unknown`."""
    asked = _shared_text(key) if shared else st.query_params.get(key, "")
    held, by_text = [part for part in asked.split(_BETWEEN) if part], {str(option): option for option in options}
    st.session_state[f"{key}-unknown"] = [part for part in held if part not in by_text]
    return [by_text[part] for part in held if part in by_text]


def _shared_text(key: str) -> str:
    # page.css hides containers of this name
    with st.container(key=f"address-{key}"):
        return st.text_input(key, key=key, bind="query-params", label_visibility="collapsed") or ""


def _number(text: str) -> float | None:
    try:
        found = float(text)
    except ValueError:
        return None
    return found if 0 <= found < float("inf") else None


def _show(key: str, value: Any) -> None:
    """Let the widget show what the address holds."""
    if st.session_state.get(_shown(key)) != value:
        st.session_state[_shown(key)] = value


def _hold(key: str, default: Any, shared: bool, per: float = 1.0) -> None:
    """Let the address hold what the widget shows, as long as that is not what it shows anyway."""
    ids, usual = (_BETWEEN.join(_said(one, per) for one in _listed(value)) for value in (st.session_state.get(_shown(key)), default))
    if shared:
        share(key, "" if ids == usual else ids)
    else:
        _write(key, ids, usual)


def _write(key: str, ids: str, usual: str) -> None:
    if ids and ids != usual:
        st.query_params[key] = ids
    else:
        st.query_params.pop(key, None)


def _said(value: Any, per: float) -> str:
    return f"{value * per:.8g}" if isinstance(value, float) else str(value)


def _listed(value: Any) -> tuple[Any, ...]:
    return () if value is None else tuple(value) if isinstance(value, list | tuple) else (value,)


def _shown(key: str) -> str:
    return f"{key}-chosen"
