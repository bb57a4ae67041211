"""A name for each family, made from what sets it apart."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl

from pipeline.layouts.views import ask

if TYPE_CHECKING:
    import duckdb

_MOST_WORDS = 3
_COMMON = 0.5
_APART = 1.15


def with_names(
    con: duckdb.DuckDBPyConnection,
    families: pl.DataFrame,
    earlier: pl.DataFrame | None,
    changes: pl.DataFrame,
    length_step_mm: float,
) -> pl.DataFrame:
    """Families with a name each, no two alike.

    A family that goes on keeps its name. Another is called by up to three items that at least half of it have, those first
    that are most often more common in it than in its kind (share times log lift); where nothing sets it apart, by its
    commonest; without any it is plain. The length of its typical body joins where that alone tells it from another.
    """
    items = ask(con, "family_items").filter(pl.col("share") >= _COMMON)
    telling = pl.col("share") * pl.col("lift").log()
    apart = _labels(items.filter(pl.col("lift") >= _APART), telling)
    common = _labels(items, pl.col("share"))
    kept = set(changes.filter(pl.col("change") == "kept")["family"]) if earlier is not None else set()
    old = dict(earlier.select("family", "name").iter_rows()) if earlier is not None else {}
    names = {family: old[family] for family in families["family"] if family in old and (family in kept or not _live(families, family))}
    for family, kind, length_class in families.select("family", "kind", "length_class").iter_rows():
        if family not in names:
            head, labels = ("with", apart[family]) if family in apart else ("mostly with", common.get(family, []))
            length_mm = (length_class + 0.5) * length_step_mm
            names[family] = _name(f"{kind} {head}", labels, length_mm, set(names.values()), family)
    return families.with_columns(name=pl.col("family").replace_strict(names, return_dtype=pl.String))


def _labels(items: pl.DataFrame, worth: pl.Expr) -> dict[int, list[str]]:
    """Each family's item labels, the most worth telling first."""
    ordered = items.with_columns(worth=worth).sort("family", "worth", "item_id", descending=[False, True, False])
    return {family: list(dict.fromkeys(map(_short, part["label"]))) for (family,), part in ordered.group_by("family", maintain_order=True)}


def _live(families: pl.DataFrame, family: int) -> bool:
    return bool(families.filter(pl.col("family") == family)["live"][0])


def _name(head: str, words: list[str], length_mm: float, taken: set[str], family: int) -> str:
    """The shortest of the family's own descriptions that no other family has."""
    counts = range(min(2, len(words)), min(_MOST_WORDS, len(words)) + 1)
    tries = [f"{head} {_listed(words[:count])}" if count else f"plain {head.split()[0]}" for count in counts]
    tries += [f"{name}, about {length_mm / 1000:.1f} m" for name in tries]
    return next((name for name in tries if name not in taken), f"{tries[-1]} ({family})")


def _short(label: str) -> str:
    """An item's label as it stands within a name: without what follows a comma, small at the front unless an abbreviation.

    >>> _short("Charger, 40 A"), _short("GPS antenna"), _short("sink")
    ('charger', 'GPS antenna', 'sink')
    """
    word = label.split(",")[0].strip() or label
    return word if word[1:2].isupper() else word[:1].lower() + word[1:]


def _listed(words: list[str]) -> str:
    """Words as a sentence lists them.

    >>> _listed(["sink", "awning", "pantry"])
    'sink, awning and pantry'
    """
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
