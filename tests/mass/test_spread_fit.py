"""The fit from packages and sums: the same model as the fit of all rows at once, wherever the rows lie."""

from dataclasses import replace
from functools import partial

import numpy as np
from mass_shops import SETTINGS, USUAL, history_of, shop_and_fit

from pipeline.mass.design import TICKET, WEIGHED
from pipeline.mass.evidence import gather
from pipeline.mass.fit import fit_fully, fit_spread
from pipeline.mass.packages import packed, unpacked
from pipeline.mass.robust import PassSums

SMALL = 64
"""Rows a package, so that a small shop makes several."""


class Rooms:
    """Blocks that are unpacked one by one and hand back sums alone, as other machines do."""

    def __init__(self, packages, unpack):
        self.blocks = [unpack(package) for package in packages]
        assert len(self.blocks) > 3

    def run(self, work) -> PassSums:
        parts = [work(block) for block in self.blocks]
        self.blocks = [replace(block, robust=robust) for block, (_sums, robust) in zip(self.blocks, parts, strict=True)]
        return _added([sums for sums, _robust in parts])

    def close(self, work):
        return _added([work(block) for block in self.blocks])


def _added(parts):
    total, *rest = parts
    for part in rest:
        total = total + part
    return total


def test_the_model_from_packages_is_the_model_from_all_rows(monkeypatch):
    shop, fitted = shop_and_fit(5, 400)
    monkeypatch.setattr("pipeline.mass.fit.packed", partial(packed, rows=SMALL))
    model, evidence = fit_spread(history_of(shop), SETTINGS, USUAL, Rooms)
    whole = fitted.model
    assert np.abs(model.coef - whole.coef).max() < 1e-8
    for name in ("factor", "noise", "factors", "item_records", "unseen_pairs"):
        np.testing.assert_allclose(getattr(model, name), getattr(whole, name), rtol=1e-8, atol=1e-8, err_msg=name)
    np.testing.assert_allclose(model.along.offset_mm, whole.along.offset_mm, atol=1e-6)
    assert model.digest == whole.digest
    assert {kind: (one.records, one.weighed) for kind, one in model.ranges.items()} == {
        kind: (one.records, one.weighed) for kind, one in whole.ranges.items()
    }
    assert np.array_equal(evidence.reason, fitted.evidence.reason)


def test_packages_hold_every_row_once_and_whole_groups():
    _shop, fitted = shop_and_fit(5, 400)
    design, evidence = fitted.model.design, fitted.evidence
    blocks = [unpacked(design, SETTINGS, package) for package in packed(evidence, SETTINGS, SMALL)]
    seen = [set(block.group.tolist()) for block in blocks]
    assert sum(map(len, seen)) == len(set.union(*seen))
    whole = gather(design, evidence, SETTINGS)
    order = np.argsort(whole.group, kind="stable")
    for name in ("x", "y_kg", "source", "fixed_var", "shared", "weight", "trusted"):
        np.testing.assert_array_equal(np.concatenate([getattr(block, name) for block in blocks]), getattr(whole, name)[order], err_msg=name)


def test_designs_that_are_made_anew_in_every_pass_are_those_that_are_kept(monkeypatch):
    """A sample smaller than the history, and blocks smaller still, as a large history has them."""
    history = history_of(shop_and_fit(5, 400)[0])
    monkeypatch.setattr("pipeline.mass.fit.SAMPLE", 150)
    monkeypatch.setattr("pipeline.mass.fit.BLOCK", SMALL)
    kept = fit_fully(history, SETTINGS)
    monkeypatch.setattr("pipeline.mass.fit.ROOM_BYTES", 0)
    anew = fit_fully(history, SETTINGS)
    assert len(kept.spoken) > 150
    np.testing.assert_array_equal(anew.model.coef, kept.model.coef)
    for name in ("mass_kg", "z", "robust", "residual_kg", "sd_kg", "kind", "pieces", "stands"):
        np.testing.assert_array_equal(getattr(anew.told, name), getattr(kept.told, name), err_msg=name)


def test_what_is_told_of_each_row_stands_in_the_order_of_the_rows():
    _shop, fitted = shop_and_fit(5, 400)
    rows, told, at = fitted.rows(), fitted.told, fitted.model.design.at
    np.testing.assert_array_equal(told.pieces, rows.x[:, at.each])
    np.testing.assert_array_equal(told.held(np.arange(len(rows)), at.items), rows.x[:, at.item] > 0)
    plain = np.isin(rows.source, (WEIGHED, TICKET))
    np.testing.assert_allclose(told.mass_kg[plain], rows.x[plain] @ fitted.model.coef, rtol=1e-9)
