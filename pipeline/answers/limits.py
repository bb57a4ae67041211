"""What drafts leave of every limit of their vehicles, and whether what is in them goes together."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from pipeline.answers.drafts import Drafts, Reject, read_drafts
from pipeline.answers.files import Rows
from pipeline.answers.vehicles import assessed_of, terms_for, with_unknown, work_of_drafts
from pipeline.frames import Columns
from pipeline.loads.cases import Assessed, Work, text
from pipeline.loads.cautions import CAUTIONS
from pipeline.loads.check import Checked, Terms, check
from pipeline.loads.limits import OVER, SIDE, VERDICTS, Limits
from pipeline.loads.together import ERROR, Finding, Past, broken_rules, item_rules, never_done
from pipeline.loads.travel import read_travel
from pipeline.mass.items import with_items
from pipeline.mass.model import Model
from pipeline.settings import Settings
from pipeline.settings_loads import TravelLoad
from pipeline.store import Edition

COLUMNS = ("job_id", "upgrade_id", "limit", "unit", "value", "low", "high", "rating", "margin", "p_over", "verdict", "why")
_TENTHS = ("value", "low", "high", "rating", "margin")


@dataclass(frozen=True)
class CheckAnswer:
    """Drafts on their vehicles.

    Attributes:
        checked: cases, what is on each vehicle (`checked.board.lines(case)`), and limits.
        work, assessed, terms: what it was reckoned from, and on what terms.
        findings: rules of the workshop that are broken, and what history never did.
        rejects: rows of the drafts that could not be used.
    """

    checked: Checked
    work: Work
    assessed: Assessed
    terms: Terms
    travel: TravelLoad
    findings: Sequence[Finding]
    rejects: Sequence[Reject]
    cautions: Sequence[str] = CAUTIONS

    def table(self) -> Columns:
        """The columns of `check`, a row a limit and case, the worst limit first; kg and mm to a tenth."""
        return rounded(self.checked.limits)

    def rows(self) -> Rows:
        """The same as rows."""
        return Rows.of_columns(self.table(), COLUMNS)

    def said(self) -> list[str]:
        """What stands beside the rows: unusable rows, broken rules, hints, and the side balance where it is off."""
        told = [str(reject) for reject in self.rejects]
        told += [f"{one.job_id}{'/' + one.body if one.body else ''}: {one.kind}: {one.said} ({one.source})" for one in self.findings]
        return told + self._side()

    def _side(self) -> list[str]:
        limits = self.checked.limits
        at = limits.of(SIDE)
        told = []
        for case in np.flatnonzero(limits.verdict[:, at] >= VERDICTS.index("may be over")).tolist():
            share, chance = limits.value[case, at], limits.p_over[case, at]
            side = "left" if self.checked.board.moment_y[case] < 0 else "right"
            most = f"at most {limits.rating[case, at]:g} % is wanted (chance of more {100 * chance:.0f} %)"
            told.append(f"{limits.job_id[case]}: {share:.1f} % of the vehicle stands on the {side}, {most}")
        return told

    @property
    def needs_a_look(self) -> bool:
        """Whether a row was rejected, a rule is broken, or a limit is exceeded."""
        broken = any(one.kind == ERROR for one in self.findings)
        shown = self.checked.limits.verdict[:, : self.checked.limits.of(SIDE)]
        return bool(self.rejects) or broken or bool((shown == OVER).any())


def rounded(limits: Limits) -> Columns:
    """Columns of `check`, a row a limit and case, the worst limit first; kg and mm to a tenth."""
    frame = limits.table()
    for name in _TENTHS:
        frame[name] = np.round(frame[name], 1)
    frame["p_over"] = np.round(frame["p_over"], 4)
    return frame


def check_folder(
    edition: Edition | None, folder: Path, settings: Settings, travel: Path | None = None, every_upgrade: bool = False
) -> CheckAnswer:
    """Check the drafts of a folder; the edition gives what they lack (vehicles, items, the mass model, tickets).

    Args:
        travel: a TOML file in place of the travel load of the settings.
        every_upgrade: each upgrade that can be had, and none, in place of the job's own.
    Raises: InputRefused: the drafts or the travel load cannot be used.
    """
    load = read_travel(travel, settings.travel) if travel else settings.travel
    drafts = read_drafts(folder, edition, settings)
    model = Model.from_json(edition.model_text()) if edition is not None and edition.has_model else None
    return check_drafts(edition, model, drafts, settings, load, every_upgrade)


def check_drafts(
    edition: Edition | None, model: Model | None, drafts: Drafts, settings: Settings, travel: TravelLoad, every_upgrade: bool = False
) -> CheckAnswer:
    """Check drafts that are frames already. Without a model only given masses are known."""
    work = work_of_drafts(drafts, settings)
    model = None if model is None else with_items(model, drafts.items)
    assessed = with_unknown(drafts, work, assessed_of(model, work.bodies, work.fitout, settings))
    terms = terms_for(edition, work, settings)
    checked = check(work, assessed, travel, terms, every_upgrade)
    return CheckAnswer(checked, work, assessed, terms, travel, findings_of(edition, work), drafts.rejects)


def findings_of(edition: Edition | None, work: Work) -> list[Finding]:
    """Does it go together: rules broken first, then what history never did."""
    rules = item_rules(work.items)
    found = broken_rules(work.bodies, work.fitout, rules)
    if edition is not None and len(work.bodies["job_id"]):
        found += never_done(work.bodies, work.fitout, _past(edition.cursor(), work), rules)
    return sorted(found, key=lambda one: one.kind != ERROR)


_BUILT = "SELECT kind, count(*) FROM current_bodies WHERE counted AND status = 'delivered' GROUP BY kind"
_CARRIED = """
WITH held AS (
    SELECT DISTINCT b.job_id, b.body, b.kind, b.length_mm, f.item_id
    FROM current_fitout AS f JOIN current_bodies AS b ON b.job_id = f.job_id AND b.body = f.body
    WHERE b.counted AND b.status = 'delivered' AND list_contains($items, f.item_id)
)"""
_ITEMS = _CARRIED + "SELECT kind, item_id, count(*), min(length_mm) FROM held GROUP BY kind, item_id"
_PAIRS = (
    _CARRIED
    + """
SELECT a.kind, a.item_id, b.item_id, count(*) FROM held AS a
JOIN held AS b ON b.job_id = a.job_id AND b.body = a.body AND a.item_id < b.item_id
GROUP BY a.kind, a.item_id, b.item_id"""
)


def _past(cursor: Any, work: Work) -> Past:
    wanted = {"items": sorted(set(text(work.fitout, "item_id").tolist()))}
    built = Counter(dict(cursor.execute(_BUILT).fetchall()))
    carried = cursor.execute(_ITEMS, wanted).fetchall()
    pairs = cursor.execute(_PAIRS, wanted).fetchall()
    return Past(
        built=built,
        count=Counter({(kind, item): count for kind, item, count, _ in carried}),
        shortest_mm={(kind, item): least for kind, item, _, least in carried},
        pairs=Counter({(kind, one, two): count for kind, one, two, count in pairs}),
    )
