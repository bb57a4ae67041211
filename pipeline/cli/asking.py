"""Verbs that ask about drafts: estimate, check, levers."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from pipeline.cli.common import add_verb, check_ending, give, live_or_none, say
from pipeline.errors import Exit


def add_verbs(verbs: Any) -> None:
    """Add this module's verbs."""
    verb = add_verb(verbs, "estimate", _estimate, "mass and centre of mass of drafts, with interval and standing")
    verb.add_argument("drafts", type=Path, metavar="DRAFTS", help="a folder with bodies and fitout")
    verb.add_argument("--level", type=float, default=0.9, help="how many in a hundred such bodies the interval should hold, 0.50 to 0.99")
    verb.add_argument("--nearest", type=int, default=0, metavar="K", help="name the K nearest weighed builds")

    verb = add_verb(verbs, "check", _check, "the margin of drafts to every limit of their vehicles, the worst first")
    verb.add_argument("drafts", type=Path, metavar="DRAFTS", help="a folder with bodies, fitout and jobs")
    verb.add_argument("--travel", type=Path, metavar="FILE", help="a travel load in place of the settings'")
    verb.add_argument("--upgrades", choices=["own", "all"], default="own", help="at the job's own upgrade, or at each that can be had")

    verb = add_verb(verbs, "levers", _levers, "the smallest changes that give the margins back")
    verb.add_argument("drafts", type=Path, metavar="DRAFTS", help="a folder with bodies, fitout and jobs")
    verb.add_argument("--travel", type=Path, metavar="FILE", help="a travel load in place of the settings'")


def _estimate(call: argparse.Namespace) -> Exit:
    from pipeline.answers.estimates import estimate_drafts

    check_ending(call.out)
    answer = estimate_drafts(call.store.live(), call.drafts, call.store.settings(), level=call.level, nearest=call.nearest)
    for reject in answer.rejects:
        say(str(reject))
    give(answer.rows, call.out)
    return Exit.LOOK if answer.rejects else Exit.DONE


def _check(call: argparse.Namespace) -> Exit:
    from pipeline.answers.limits import check_folder

    check_ending(call.out)
    answer = check_folder(live_or_none(call), call.drafts, call.store.settings(), call.travel, call.upgrades == "all")
    for line in (*answer.said(), *answer.cautions):
        say(line)
    give(answer.rows(), call.out)
    return Exit.LOOK if answer.needs_a_look else Exit.DONE


def _levers(call: argparse.Namespace) -> Exit:
    from pipeline.answers.levers import levers_of_folder

    check_ending(call.out)
    answer = levers_of_folder(call.store.live(), call.drafts, call.store.settings(), call.travel)
    for line in (*answer.said(), *answer.cautions):
        say(line)
    give(answer.rows(), call.out)
    return Exit.LOOK if answer.needs_a_look else Exit.DONE
