"""An edition as it lies in a lake, asked through Spark: the same questions, in the same SQL, to the same answers.

What the answers need of an edition (a cursor, its number, what its records go to) is here in Spark's hands. A query is
transpiled, its result comes home as an Arrow table, and is handed on as DuckDB would hand it on.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

from pipeline.cluster.dialect import spark_sql
from pipeline.errors import NoModel
from pipeline.store.editions import MODEL
from pipeline.store.lake import read_manifest
from pipeline.store.schema import KEPT, view_texts
from pipeline.store.spread import reaching

if TYPE_CHECKING:
    from pyspark.sql import SparkSession

SPARK_TYPES = {"string": "string", "double": "double", "bool": "boolean", "date32[day]": "date", "int32": "int", "int64": "bigint"}
"""Spark's names of the types that a lake's manifest tells."""

NOT_HERE = ("history",)
"""Views that Spark cannot make alike: old rows are written out as JSON there, which the two engines do differently."""


@dataclass(frozen=True)
class LakeEdition:
    """What an answer reads of an edition.

    Attributes:
        url: where the lake lies, for Spark's workers as for us.
    """

    spark: SparkSession
    url: str

    @cached_property
    def manifest(self) -> dict[str, Any]:
        with reaching(self.url) as place:
            return read_manifest(place, self.url)

    @property
    def number(self) -> int:
        return int(self.manifest["edition"])

    @property
    def has_model(self) -> bool:
        return bool(self.manifest["model"])

    def model_text(self) -> str:
        """The mass model's JSON. Raises: NoModel."""
        if not self.has_model:
            raise NoModel("the edition in the lake has no mass model", where=self.url, do="run `tarebook fit`, and export the lake anew")
        with reaching(self.url) as place:
            return place.files.cat_file(place.path(MODEL)).decode()

    def cursor(self) -> Cursor:
        """What takes SQL in DuckDB's dialect."""
        self._known  # noqa: B018 - made on first use
        return Cursor(self.spark)

    @cached_property
    def _known(self) -> list[str]:
        """The lake's tables, and the views of an edition over them, under their own names."""
        tables = list(self.manifest["tables"])
        for table in tables:
            columns = self.manifest["tables"][table]["columns"]
            # Told the types, Spark opens no file before it must.
            schema = ", ".join(f"`{column}` {SPARK_TYPES[kind]}" for column, kind in columns.items())
            frame = self.spark.read.schema(schema).parquet(f"{_for_spark(self.url)}/{table}")
            frame.select([f"`{column}`" for column in columns]).createOrReplaceTempView(table)
        listed = ", ".join(f"'{table}'" for table in tables)
        self.spark.sql(f"SELECT explode(array({listed})) AS table_name").createOrReplaceTempView("known_tables")
        made = [view for view in view_texts() if view not in (*tables, *NOT_HERE)]
        for view in made:
            self.spark.sql(spark_sql(view_texts()[view])).createOrReplaceTempView(view)
            if view in KEPT:
                self.spark.catalog.cacheTable(view)
        return [*tables, *made]


def _for_spark(url: str) -> str:
    """Hadoop's name of the same address."""
    return url.replace("s3://", "s3a://", 1)


@dataclass(frozen=True)
class Cursor:
    """Takes a query as a DuckDB cursor does."""

    spark: SparkSession

    def sql(self, query: str, params: Mapping[str, Any] | None = None) -> Any:
        """The rows of a query, as a DuckDB relation."""
        return self._answer(query, params or {}).sql("FROM answer")

    def execute(self, query: str, params: Mapping[str, Any] | None = None) -> Any:
        """The same, as a DuckDB cursor that holds them."""
        return self._answer(query, params or {}).execute("FROM answer")

    def _answer(self, query: str, params: Mapping[str, Any]) -> Any:
        import duckdb

        con = duckdb.connect()
        con.register("answer", self.spark.sql(spark_sql(query), args={name: _literal(value) for name, value in params.items()}).toArrow())
        return con


def _literal(value: Any) -> Any:
    from pyspark.sql import functions as sql

    return sql.array(*map(sql.lit, value)) if isinstance(value, list) else value
