"""One large history on many machines: the same computations on Apache Spark, asked for with `--engine spark`."""
