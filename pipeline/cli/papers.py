"""What is printed: the customer's sheet and the manager's month."""

from __future__ import annotations

import argparse
import re
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.cli.common import ROLE, add_verb, live_or_none, say
from pipeline.errors import Exit, WrongCall

if TYPE_CHECKING:
    from pipeline.answers.sheet_content import SheetContent
    from pipeline.store.editions import AnyEdition

PAPERS = ("a4", "letter")


def add_verbs(verbs: Any) -> None:
    """Add this module's verbs."""
    verb = add_verb(verbs, "sheet", _sheet, "the customer's sheet of a draft as PDF, or of every draft of a folder", out=False)
    verb.add_argument("drafts", type=Path, metavar="DRAFTS", help="a folder with bodies, fitout and jobs")
    verb.add_argument("--job", metavar="ID", help="which draft; left out: all of them")
    verb.add_argument("--out", type=Path, required=True, metavar="FILE", help="the PDF; without --job a folder for one PDF a draft")
    verb.add_argument("--paper", choices=PAPERS, default="a4", help="size of the paper")
    verb.add_argument("--date", metavar="YYYY-MM-DD", help="day of the sheet (default: the day the records go to)")


def _sheet(call: argparse.Namespace) -> Exit:
    from pipeline.answers.drafts import read_drafts
    from pipeline.answers.sheets import sheet_content
    from pipeline.mass.model import Model
    from pipeline.paper.sheet import sheet_pdf

    _check_target(call.out, folder=call.job is None)
    dated_on, edition, settings = _day(call.date), live_or_none(call), call.store.settings()
    drafts = read_drafts(call.drafts, edition, settings)
    model = Model.from_json(edition.model_text()) if edition is not None and edition.has_model else None
    jobs = [call.job] if call.job is not None else list(dict.fromkeys(str(job) for job in drafts.bodies["job_id"]))
    contents = [sheet_content(edition, model, drafts, job, settings, settings.travel, ROLE, dated_on) for job in jobs]
    names = _file_names(jobs)
    for content, name in zip(contents, names, strict=True):
        target = call.out if call.job is not None else call.out / name
        target.write_bytes(sheet_pdf(content, call.paper))
        say(f"{target}: code {content.code}")
    for reject in drafts.rejects:
        say(str(reject))
    return Exit.LOOK if drafts.rejects or any(map(_over, contents)) else Exit.DONE


def check_summary(call: argparse.Namespace) -> None:
    """Say before long work that the month's PDF could not be made. Raises: WrongCall: no month, or nowhere to write to."""
    from pipeline.answers.summary import month_of

    if call.out is None:
        raise WrongCall("where to?", expected="--out FILE.pdf")
    _check_target(call.out, folder=False)
    month_of(call.month or "")


def write_summary(call: argparse.Namespace, edition: AnyEdition) -> Exit:
    """The manager's month to a PDF."""
    from pipeline.answers.summary import month_summary
    from pipeline.paper.summary import summary_pdf

    records_to = edition.manifest["records_to"]
    summary = month_summary(edition.cursor(), call.store.settings(), call.month, edition.number, records_to, ROLE)
    call.out.write_bytes(summary_pdf(summary))
    return Exit.DONE


def _check_target(out: Path, folder: bool) -> None:
    if folder and not out.is_dir():
        raise WrongCall("no such folder", where=str(out), do="make it first, or choose one draft with --job")
    if not folder and out.suffix.lower() != ".pdf":
        raise WrongCall(f"cannot write {out.name!r}", expected="a name that ends in .pdf")
    if not folder and not out.absolute().parent.is_dir():
        raise WrongCall("no such folder", where=str(out.absolute().parent))


def _day(text: str | None) -> date | None:
    try:
        return date.fromisoformat(text) if text else None
    except ValueError as error:
        raise WrongCall("which day?", got=text or "", expected="YYYY-MM-DD") from error


def _file_names(jobs: list[str]) -> list[str]:
    """A file name a draft, all different; what a file system may not like becomes `_`.

    >>> _file_names(["A/1", "A_1", ".."])
    ['A_1.pdf', 'A_1-2.pdf', 'draft.pdf']
    """
    names: list[str] = []
    for number, job in enumerate(jobs, 1):
        plain = re.sub(r"[^\w.-]+", "_", job).lstrip(".") or "draft"
        name = f"{plain}.pdf"
        while name in names:
            plain = f"{plain}-{number}"
            name = f"{plain}.pdf"
        names.append(name)
    return names


def _over(content: SheetContent) -> bool:
    return any(line.verdict == "over" for line in content.limits)
