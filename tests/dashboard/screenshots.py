"""Pictures of every page, for the README and for whoever changes a page: light, dark, and on a phone.

    python tests/dashboard/screenshots.py [--store STORE] [--out .screens] [--only early-mass] [--modes light]

STORE is a store with sample_data loaded and fitted; without it one is made for the while. Needs /usr/bin/chromium.
"""

from __future__ import annotations

import argparse
import io
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parent.parent)]

import rig  # noqa: E402
from PIL import Image  # noqa: E402

from pipeline.answers.fitting import fit_store  # noqa: E402
from pipeline.store import Store  # noqa: E402
from pipeline.store.load import load  # noqa: E402

MODES = {"light": ("light", 1280), "dark": ("dark", 1280), "phone": ("light", 375)}
LONGEST_PX = 2600


def start_typical(page: Any) -> None:
    """Early mass, from the typical build of a vehicle that the sample has many of."""
    page.get_by_role("button", name="Start from …").click()
    page.get_by_role("combobox", name="A typical build of").click()
    page.get_by_role("option", name="Sedge dual cab", exact=True).click()
    page.get_by_role("button", name="Start from its typical build").click()
    page.get_by_text("Tightest limit").first.wait_for(timeout=60_000)
    page.keyboard.press("Escape")


PAGES: dict[str, tuple[str, Callable[[Any], None] | None]] = {
    "start": ("", None),
    "what-sells": ("what-sells", None),
    "over-time": ("what-sells?view=time", None),
    "layout-families": ("layout-families", None),
    "near-the-limit": ("near-the-limit", None),
    "early-mass": ("early-mass", start_typical),
    "for-your-vehicle": ("for-your-vehicle?for=SED-D", None),
    "job-finder": ("job-finder", None),
    "job": ("job-finder?job=N26-0322", None),
    "model-check": ("model-check", None),
    "record-health": ("record-health", None),
    "settings": ("settings", None),
}


def main() -> None:
    """Take the pictures."""
    parser = argparse.ArgumentParser(description="Pictures of every page.")
    parser.add_argument("--store", type=Path)
    parser.add_argument("--out", type=Path, default=Path(".screens"))
    parser.add_argument("--only", nargs="*", default=list(PAGES), choices=list(PAGES))
    parser.add_argument("--modes", nargs="*", default=list(MODES), choices=list(MODES))
    given = parser.parse_args()
    given.out.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as scratch:
        store = given.store or make_sample(Path(scratch) / "store")
        take_all(store.absolute(), given.out, given.only, given.modes)


def make_sample(root: Path) -> Path:
    """A store of the demo, fitted, with the long report."""
    store = Store(root)
    load([Path(__file__).resolve().parents[2] / "sample_data" / "records"], store)
    fit_store(store, report=True)
    return root


def take_all(store: Path, out: Path, names: list[str], modes: list[str]) -> None:
    """The pictures of these pages in these modes."""
    with rig.server(store) as address, rig.browser() as chromium:
        for mode in modes:
            look, width = MODES[mode]
            context = chromium.new_context(viewport={"width": width, "height": 900}, color_scheme=look, reduced_motion="reduce")
            page = context.new_page()
            for name in names:
                path, act = PAGES[name]
                page.goto(f"{address}/{path}")
                rig.settle(page)
                if act is not None:
                    act(page)
                    rig.settle(page)
                take(page, out / f"{name}-{mode}.png", width)
                print(f"{name}-{mode}", flush=True)
            context.close()


def take(page: Any, path: Path, width: int) -> None:
    """One picture of the whole page, cut off where it gets long, in few colours so that it stays small."""
    tall = page.evaluate("Math.max(...[...document.querySelectorAll('[data-testid=stMain]')].map(each => each.scrollHeight))")
    page.set_viewport_size({"width": width, "height": min(max(900, int(tall) + 20), LONGEST_PX)})
    page.wait_for_timeout(900)
    rig.settle(page)
    picture = Image.open(io.BytesIO(page.screenshot()))
    picture.convert("RGB").quantize(128, dither=Image.Dither.NONE).save(path, optimize=True)
    page.set_viewport_size({"width": width, "height": 900})


if __name__ == "__main__":
    main()
