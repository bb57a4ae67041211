"""Layout families: the different layouts of each kind of body gathered around typical ones, with numbers that last.

`build_families` writes three tables into the edition under construction:
`families` (`family, kind, name, live, bodies, of_kind, silhouette, typical_job_id, typical_body, signature, length_class`),
`family_of_body` (`job_id, body, family, mirrored, distance`) and
`family_changes` (`change, family, other, bodies, of_bodies, words`).
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import polars as pl

from pipeline.layouts import grouping, identity, naming, signature
from pipeline.layouts.views import compose, run
from pipeline.settings_layouts import LayoutSettings
from pipeline.store.parts import job_spans

if TYPE_CHECKING:
    import duckdb

FAMILIES = pl.Schema(
    {
        "family": pl.Int64,
        "kind": pl.String,
        "name": pl.String,
        "live": pl.Boolean,
        "bodies": pl.Int64,
        "of_kind": pl.Int64,
        "silhouette": pl.Float64,
        "typical_job_id": pl.String,
        "typical_body": pl.String,
        "signature": pl.String,
        "length_class": pl.Int64,
    }
)
FAMILY_OF_BODY = pl.Schema(
    {
        "job_id": pl.String,
        "body": pl.String,
        "family": pl.Int64,
        "mirrored": pl.Boolean,
        "distance": pl.Float64,
    }
)


_THIS_PART = "with current_bodies as (select * from main.current_bodies where job_id between $first and $last)"


@dataclass(frozen=True)
class Families:
    """The three tables as frames."""

    families: pl.DataFrame
    family_of_body: pl.DataFrame
    changes: pl.DataFrame


def build_families(con: duckdb.DuckDBPyConnection, earlier: Families | None, settings: LayoutSettings) -> Families:
    """Gather all counted bodies into families and write the three tables.

    Args:
        con: a writable connection to the edition under construction, its record tables in place.
        earlier: the last edition's families (`read_families`), whose numbers go on; None for a first edition.
    """
    layouts = _layouts(con, settings)
    grouped = [_group_kind(kind, part, earlier, settings) for (kind,), part in layouts.group_by("kind", maintain_order=True)]
    if not grouped:
        return _write(con, Families(_none(FAMILIES), _none(FAMILY_OF_BODY), _none(identity.CHANGES)))
    labelled, medoids = _numbered_groups(grouped)
    members, medoids = _orient(_members(con, labelled, medoids), medoids)
    matching = identity.match(
        members.select("job_id", "body", "grp"),
        earlier.family_of_body if earlier else None,
        max(earlier.families["family"].to_list(), default=0) if earlier else 0,
        settings,
    )
    number = pl.col("grp").replace_strict(matching.number_of, return_dtype=pl.Int64).alias("family")
    family_of_body = members.with_columns(number).select(list(FAMILY_OF_BODY)).cast(FAMILY_OF_BODY)
    families = _family_rows(medoids.with_columns(number), members.with_columns(number), earlier)
    _write(con, Families(families, family_of_body, matching.changes))
    named = naming.with_names(con, families, earlier.families if earlier else None, matching.changes, settings.length_step_mm)
    return _write(con, Families(named, family_of_body, matching.changes))


def _layouts(con: duckdb.DuckDBPyConnection, settings: LayoutSettings) -> pl.DataFrame:
    """`kind, length_class, signature, bodies`: the different layouts, the commonest of each kind first.

    The texts of all bodies stay in the database, as the passing table `body_signatures`.
    """
    signatures = f"{_THIS_PART}, {compose('signatures').removeprefix('with ')}"
    values = signature_values(settings)
    # ordered texts are put together in memory, which those of ten million bodies at once do not fit into
    con.execute(f"create or replace temp table body_signatures as {signatures} limit 0", {**values, "first": "", "last": ""})
    for first, last in job_spans(con):
        con.execute(f"insert into body_signatures {signatures}", {**values, "first": first, "last": last})
    counts = "select kind, length_class, signature, count(*) as bodies from body_signatures group by kind, length_class, signature"
    return run(con, counts, {}).sort("kind", "bodies", "length_class", "signature", descending=[False, True, False, False])


def _members(con: duckdb.DuckDBPyConnection, labelled: pl.DataFrame, medoids: pl.DataFrame) -> pl.DataFrame:
    """Every body with its group, in the order of jobs: `job_id, body, kind, sold, turned, grp, distance, medoid_turned, central`."""
    key = ["kind", "length_class", "signature"]
    central = labelled.join(medoids.select(*key, central=pl.lit(True)), on=key, how="left").with_columns(pl.col("central").fill_null(False))
    con.register("labelled_layouts", central.to_arrow())
    members = run(
        con,
        "select b.job_id, b.body, b.kind, b.sold, b.turned, l.grp, l.distance, l.medoid_turned, l.central from body_signatures as b "
        "inner join labelled_layouts as l on l.kind = b.kind and l.length_class = b.length_class and l.signature = b.signature "
        "order by b.job_id, b.body",
        {},
    )
    con.unregister("labelled_layouts")
    con.execute("drop table body_signatures")
    return members


def read_families(con: duckdb.DuckDBPyConnection) -> Families:
    """The three tables of an edition; empty before its first fit."""
    return Families(*(run(con, f"select * from {table}", {}) for table in ("families", "family_of_body", "family_changes")))


def signature_values(settings: LayoutSettings) -> dict[str, Any]:
    """What the views of signatures bind."""
    return {
        "left_out_groups": list(settings.left_out_groups),
        "left_out_items": list(settings.left_out_items),
        "small_part_kg": settings.small_part_kg,
        "length_step_mm": settings.length_step_mm,
        "mirrors_together": settings.mirrors_together,
    }


def _group_kind(kind: str, layouts: pl.DataFrame, earlier: Families | None, settings: LayoutSettings) -> tuple[pl.DataFrame, pl.DataFrame]:
    """One kind of body: its layouts with `grp, distance, medoid_turned`, and its medoids."""
    texts, classes = layouts["signature"].to_list(), layouts["length_class"].to_list()
    picked, weights = _sample(texts, layouts["bodies"].to_numpy(), settings.most_signatures)
    some, some_classes = [texts[row] for row in picked], [classes[row] for row in picked]
    distance, _ = signature.distances(some, some_classes, some, some_classes, settings)
    least = max(settings.family_bodies, settings.family_share * float(weights.sum()))
    chosen = grouping.choose(
        distance,
        weights,
        grouping.Bounds(settings.most_families, least, settings.least_silhouette, settings.worth_silhouette),
        _earlier_medoids(kind, some, some_classes, earlier, settings),
    )
    centres = [int(picked[point]) for point in chosen.medoids]
    away, turned = signature.distances(texts, classes, [texts[row] for row in centres], [classes[row] for row in centres], settings)
    labels = grouping.nearest(away, np.array(centres))
    rows = np.arange(len(texts))
    labelled = layouts.with_columns(
        grp=pl.Series(labels), distance=pl.Series(away[rows, labels].astype(float)), medoid_turned=pl.Series(turned[rows, labels])
    )
    medoids = layouts[centres].with_columns(grp=pl.Series(range(len(centres)), dtype=pl.Int64), silhouette=pl.lit(chosen.silhouette))
    return labelled, medoids


def _sample(texts: list[str], bodies: np.ndarray, most: int) -> tuple[np.ndarray, np.ndarray]:
    """Layouts to compare with each other, and how many bodies each stands for.

    The commonest half is always in; of the others those with the lowest checksums, so that the same ones are picked
    month after month, each standing for as many as were left out.
    """
    order = np.arange(len(texts))
    if len(texts) <= most:
        return order, bodies.astype(float)
    common = np.argsort(-bodies, kind="stable")[: most // 2]
    others = np.setdiff1d(order, common)
    checksums = np.array([zlib.crc32(texts[row].encode()) for row in others])
    drawn = others[np.argsort(checksums, kind="stable")[: most - len(common)]]
    weights = bodies.astype(float)
    weights[drawn] *= bodies[others].sum() / bodies[drawn].sum()
    picked = np.sort(np.concatenate([common, drawn]))
    return picked, weights[picked]


def _earlier_medoids(kind: str, texts: list[str], classes: list[int], earlier: Families | None, settings: LayoutSettings) -> list[int]:
    """Points nearest to the kind's last medoids."""
    if earlier is None:
        return []
    last = earlier.families.filter((pl.col("kind") == kind) & pl.col("live"))
    if last.is_empty():
        return []
    away, _ = signature.distances(texts, classes, last["signature"].to_list(), last["length_class"].to_list(), settings)
    return sorted({int(point) for point in np.argmin(away, axis=0)})


def _numbered_groups(grouped: list[tuple[pl.DataFrame, pl.DataFrame]]) -> tuple[pl.DataFrame, pl.DataFrame]:
    """All kinds together, groups numbered over kinds from the largest to the smallest."""
    labelled = pl.concat([layouts for layouts, _ in grouped])
    sizes = labelled.group_by("kind", "grp").agg(pl.col("bodies").sum().alias("total"))
    order = sizes.sort("total", "kind", "grp", descending=[True, False, False]).with_row_index("number").drop("total")
    order = order.with_columns(pl.col("number").cast(pl.Int64))

    def numbered(frame: pl.DataFrame) -> pl.DataFrame:
        return frame.join(order, on=["kind", "grp"], how="inner").drop("grp").rename({"number": "grp"})

    return numbered(labelled), numbered(pl.concat([medoids for _, medoids in grouped]))


def _orient(members: pl.DataFrame, medoids: pl.DataFrame) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Say of each body whether it stands the other way round than the family's typical one; of equals the last one sold is it."""
    typical = (
        members.filter("central")
        .sort("grp", "sold", "job_id", "body")
        .group_by("grp", maintain_order=True)
        .agg(
            pl.col("job_id").last().alias("typical_job_id"),
            pl.col("body").last().alias("typical_body"),
            pl.col("turned").last().alias("typical_turned"),
        )
    )
    members = members.join(typical.select("grp", "typical_turned"), on="grp", how="left")
    members = members.with_columns(mirrored=pl.col("turned") ^ pl.col("medoid_turned") ^ pl.col("typical_turned"))
    return members, medoids.join(typical, on="grp", how="left")


def _family_rows(medoids: pl.DataFrame, members: pl.DataFrame, earlier: Families | None) -> pl.DataFrame:
    sizes = members.group_by("family").len("members")
    kinds = members.group_by("kind").len("of_kind")
    rows = (
        medoids.drop("bodies")
        .join(sizes, on="family")
        .join(kinds, on="kind")
        .with_columns(name=pl.lit(""), live=pl.lit(True), bodies=pl.col("members"))
        .select(list(FAMILIES))
        .cast(FAMILIES)
    )
    if earlier is not None:
        gone = earlier.families.join(rows, on="family", how="anti").with_columns(live=pl.lit(False), bodies=pl.lit(0))
        rows = pl.concat([rows, gone.select(list(FAMILIES)).cast(FAMILIES)])
    return rows.sort("family")


def _none(schema: pl.Schema) -> pl.DataFrame:
    return pl.DataFrame(schema=schema)


def _write(con: duckdb.DuckDBPyConnection, tables: Families) -> Families:
    for name, frame in (("families", tables.families), ("family_of_body", tables.family_of_body), ("family_changes", tables.changes)):
        con.register("incoming", frame.to_arrow())
        con.execute(f"create or replace table {name} as select * from incoming")
        con.unregister("incoming")
    return tables
