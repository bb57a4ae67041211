"""A small workshop on the disk, loaded and fitted once for all tests of the commands."""

from pathlib import Path

import pytest
from workshop import make_workshop, write_drafts, write_hand_in

from pipeline.cli import main


@pytest.fixture(scope="session", autouse=True)
def _own_key(tmp_path_factory):
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("TAREBOOK_KEY", str(tmp_path_factory.mktemp("key") / "customer.key"))
        yield


@pytest.fixture(scope="session")
def shop(tmp_path_factory, _own_key):
    """Folder with `history/`, `drafts/` and a fitted `store/`."""
    root: Path = tmp_path_factory.mktemp("shop")
    made = make_workshop(seed=5, bodies=120)
    write_hand_in(made, root / "history")
    write_drafts(made, root / "drafts")
    store = ["--store", str(root / "store")]
    assert main(["load", str(root / "history"), *store, "--out", str(root / "accounts.csv")]) in (0, 1)
    assert main(["fit", *store]) == 0
    return root
