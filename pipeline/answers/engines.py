"""Which engine computes: DuckDB in this process, or Spark on a cluster, asked for by name. Spark is imported only then."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from pipeline.errors import WrongCall
from pipeline.mass.evidence import Evidence, History
from pipeline.mass.fit import fit_spread
from pipeline.mass.model import Model
from pipeline.settings import Settings
from pipeline.store import Store
from pipeline.store.editions import AnyEdition

EMBEDDED, SPARK = "duckdb", "spark"
ENGINES = (EMBEDDED, SPARK)
EVERY_CORE = "local[*]"


@dataclass(frozen=True)
class Engine:
    """What a command was told.

    Attributes:
        master: Spark's, such as `local[*]` or `spark://host:7077`.
        lake: where an export of the edition lies, for Spark's workers as for us; None: the live edition is exported for the while.
    Raises: WrongCall: what was told does not go together.
    """

    name: str = EMBEDDED
    master: str | None = None
    lake: str | None = None

    def __post_init__(self) -> None:
        if not self.spread and (self.master or self.lake):
            raise WrongCall("--master and --lake are for another engine", expected="--engine spark beside them")

    @property
    def spread(self) -> bool:
        return self.name == SPARK


HERE = Engine()


@contextmanager
def edition_on(store: Store, engine: Engine) -> Iterator[AnyEdition]:
    """The live edition, or the one in the lake, answered by the engine.

    Raises: NoStore, StoreBroken; of Spark: EngineAway, SourceAway, SourceDamaged; WrongCall: other machines cannot see the edition.
    """
    if not engine.spread:
        yield store.live()
        return
    from pipeline.cluster.lake import LakeEdition
    from pipeline.cluster.session import is_local, spark_session
    from pipeline.store.lake import export_lake

    master = engine.master or EVERY_CORE
    if engine.lake is None and not is_local(master):
        raise WrongCall("the machines of a cluster do not see this store", got=f"--master {master}",
                        expected="--lake with a folder or address that all of them reach; `tarebook export lake` writes it")  # fmt: skip
    with tempfile.TemporaryDirectory(prefix="tarebook-lake-") as scratch:
        lake = engine.lake or str(Path(scratch) / "lake")
        if engine.lake is None:
            export_lake(store.live(), lake)
        with spark_session(master) as spark:
            yield LakeEdition(spark, lake)


def model_on_spark(history: History, settings: Settings, engine: Engine) -> tuple[Model, Evidence]:
    """The mass model, its rows on the cluster; with the evidence that it stands on. Raises: EngineAway."""
    from pipeline.cluster.blocks import SparkBlocks
    from pipeline.cluster.session import spark_session

    with spark_session(engine.master or EVERY_CORE) as spark:
        return fit_spread(history, settings.mass, settings.vehicles, partial(SparkBlocks, spark.sparkContext))
