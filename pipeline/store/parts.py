"""A history in parts of consecutive jobs, for what would not fit into memory for all of them at once."""

from __future__ import annotations

from typing import Any

PART_JOBS = 100_000
"""Jobs of a part: some 300 MB while they are reckoned with."""

_SPANS = """
SELECT min(job_id) AS first, max(job_id) AS last
FROM (SELECT job_id, floor((row_number() OVER (ORDER BY job_id) - 1) / {jobs}) AS part FROM current_jobs)
GROUP BY part ORDER BY part"""


def job_spans(cursor: Any, jobs: int = PART_JOBS) -> list[tuple[str, str]]:
    """The first and the last job of each part; in DuckDB and Spark alike."""
    return [(first, last) for first, last in cursor.execute(_SPANS.format(jobs=jobs)).fetchall()]
