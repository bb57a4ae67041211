"""What one part of the campaign tried, and what was lost."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field


@dataclass
class Outcome:
    """One row of the campaign's table; `lost` says each failure in words, and is empty when the promise held."""

    what: str
    tried: int = 0
    lost: list[str] = field(default_factory=list)
    seen: Counter[str] = field(default_factory=Counter)

    def words(self) -> str:
        """What was seen, the most frequent first."""
        return ", ".join(f"{count} {what}" for what, count in self.seen.most_common())


class Skipped(Exception):
    """A part that cannot run here, and why."""
