"""The `tarebook` command. Each verb parses, asks one answer, prints.

Data goes to stdout or `--out FILE`, talk to stderr; the exit code says how it went (see `tarebook --help`).
"""

from __future__ import annotations

import argparse
import gc
import os
import sys
from collections.abc import Sequence

from pipeline.cli import common
from pipeline.errors import Exit, TarebookError
from pipeline.store import Store

_CODES = """exit codes:
  0  done
  1  done, and something needs a look (rows rejected, a limit exceeded)
  2  the call is wrong
  3  the input cannot be used, nothing changed
  4  no store, no model, busy or broken store
"""


def parser() -> argparse.ArgumentParser:
    """The whole command line."""
    from pipeline.cli import asking, keeping, papers, showing

    top = argparse.ArgumentParser(
        prog="tarebook",
        description="Early mass, margins and layouts out of a workshop's own build records.",
        epilog=_CODES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    verbs = top.add_subparsers(dest="verb", metavar="COMMAND", required=True)
    for room in (keeping, asking, papers, showing):
        room.add_verbs(verbs)
    return top


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code."""
    call = parser().parse_args(argv)
    try:
        call.store = common.store_of(call)
        return int(call.run(call))
    except TarebookError as error:
        print(error, file=sys.stderr)
        return int(error.exit_code)
    except BrokenPipeError:
        # The reader of our output has gone (`| head`): nothing is wrong, and nobody is left to tell.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return int(Exit.DONE)
    except KeyboardInterrupt:
        print("stopped; the live edition is as it was", file=sys.stderr)
        return 130
    except Exception:
        return _unexpected(getattr(call, "store", None))


def command() -> None:
    """What the installed script calls: `main` in a process that does nothing else."""
    # A command makes few cycles of objects. Looking for them takes longer than what they hold is worth, at the end most of all.
    gc.set_threshold(100_000, 20, 100)
    code = main()
    gc.freeze()
    sys.exit(code)


def _unexpected(store: Store | None) -> int:
    from pipeline.log import log_unexpected

    path = log_unexpected(store.root, "unexpected") if store else None
    if path is None:
        raise
    print(f"something unexpected happened; nothing was published. The log is {path}", file=sys.stderr)
    return int(Exit.STORE)


if __name__ == "__main__":
    command()
