"""The public contract: which tables and columns people hand in, and what the commands give back.

Plain data on the standard library alone. Readers, casts, rules, SQL, documentation and sample data are all made from it.
"""

from pipeline.contract.model import Column, Reference, Table
from pipeline.contract.tables import BODY_KINDS, STATUSES, TABLES, ZONES, table_named

__all__ = ["BODY_KINDS", "STATUSES", "TABLES", "ZONES", "Column", "Reference", "Table", "table_named"]
