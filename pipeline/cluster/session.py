"""Spark, started for one command and stopped after it; whoever asks for it without having it is told what to install."""

from __future__ import annotations

import os
import shutil
import sys
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from importlib import resources
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any

from pipeline.errors import EngineAway

if TYPE_CHECKING:
    from pyspark.sql import SparkSession

EXTRA = "pip install 'tarebook[cluster]'"
DRIVER_MEMORY = "2g"


def is_local(master: str) -> bool:
    """Whether the workers see this machine's folders: `local[…]` and `local-cluster[…]`."""
    return master.startswith("local")


@contextmanager
def spark_session(master: str) -> Iterator[SparkSession]:
    """A session on `master`, such as `local[*]`, `local-cluster[2,1,1024]` or `spark://host:7077`.

    What is not set here (memory of the workers, their number, files on object storage) is set where Spark looks for it:
    `spark-defaults.conf` in `$SPARK_CONF_DIR`.
    Raises: EngineAway: pyspark, sqlglot or Java is missing, or Spark cannot start there.
    """
    _must_be_there()
    from pyspark.errors import PySparkException
    from pyspark.sql import SparkSession

    # The workers import the same functions: of the same Python here, of the one that is named for them elsewhere.
    os.environ.setdefault("PYSPARK_PYTHON", sys.executable)
    builder: Any = SparkSession.builder
    for key, value in _conf(master).items():
        builder = builder.config(key, value)
    try:
        with warnings.catch_warnings():
            # told about pandas, of which nothing is used here
            warnings.simplefilter("ignore", FutureWarning)
            spark = builder.master(master).appName("tarebook").getOrCreate()
    except (PySparkException, OSError, RuntimeError) as error:
        raise EngineAway("the engine does not start", where=master, got=str(error).splitlines()[0],
                         do="see that the master is right and answers") from error  # fmt: skip
    try:
        # Spark's own 200 parts of every step suit a large cluster alone.
        spark.conf.set("spark.sql.shuffle.partitions", str(max(4, 2 * spark.sparkContext.defaultParallelism)))
        yield spark
    finally:
        spark.stop()


def _must_be_there() -> None:
    missing = [name for name in ("pyspark", "sqlglot") if find_spec(name) is None]
    if missing:
        raise EngineAway(f"{' and '.join(missing)} not installed", expected=EXTRA)
    if not (os.environ.get("JAVA_HOME") or shutil.which("java")):
        raise EngineAway("no Java here, which Spark needs", expected="Java 17 or newer, such as Debian's openjdk-17-jre-headless")


def _conf(master: str) -> dict[str, str]:
    quiet = f"-Dlog4j2.configurationFile={resources.files('pipeline.cluster') / 'log4j2.properties'}"
    conf = {
        "spark.driver.memory": DRIVER_MEMORY,
        "spark.driver.extraJavaOptions": quiet,
        "spark.sql.session.timeZone": "UTC",
        "spark.ui.showConsoleProgress": "false",
        # one thread a task: the matrices are narrow
        "spark.executorEnv.OMP_NUM_THREADS": "1",
        "spark.executorEnv.OPENBLAS_NUM_THREADS": "1",
    }
    if is_local(master):
        # nothing of this is for other machines to reach
        here = "127.0.0.1"
        os.environ.setdefault("SPARK_LOCAL_IP", here)
        conf |= {"spark.ui.enabled": "false", "spark.driver.host": here, "spark.driver.bindAddress": here}
    return conf
