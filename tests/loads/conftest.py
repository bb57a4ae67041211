"""A small workshop on the disk, loaded and fitted once, for the answers about vehicles."""

from pathlib import Path

import pytest
from workshop import make_workshop, write_drafts, write_hand_in

from pipeline.cli import main
from pipeline.store import Store


@pytest.fixture(scope="session")
def shop(tmp_path_factory):
    """Folder with `history/`, `drafts/` and a fitted `store/`, and the live edition."""
    root: Path = tmp_path_factory.mktemp("shop")
    made = make_workshop(seed=8, bodies=150, tickets=0.5)
    write_hand_in(made, root / "history")
    write_drafts(made, root / "drafts")
    store = ["--store", str(root / "store")]
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("TAREBOOK_KEY", str(root / "customer.key"))
        assert main(["load", str(root / "history"), *store, "--out", str(root / "accounts.csv")]) in (0, 1)
        assert main(["fit", *store]) == 0
        yield root, Store(root / "store").live()
