"""Rules: every row that came in is kept, suspect, rejected or superseded, and the ledger says why.

All of it is SQL made from the contract, run inside the database that holds the rows, so that the same rules serve a
draft of one body and a history of ten million.
"""

from pipeline.sift.arrive import arrive
from pipeline.sift.schema import create_tables
from pipeline.sift.stage import Source, planned_as_written, restore_cells, stage, stage_at_once, stage_tables

__all__ = ["Source", "arrive", "create_tables", "planned_as_written", "restore_cells", "stage", "stage_at_once", "stage_tables"]
