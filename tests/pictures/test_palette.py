"""Colours are told apart by all eyes and read by all, measured and not believed."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from pipeline.contract.tables import ITEM_GROUPS
from pipeline.pictures import palette
from pipeline.pictures.palette import DARK, LIGHT, Look

colorspacious = pytest.importorskip("colorspacious")

EYES = (None, "deuteranomaly", "protanomaly", "tritanomaly")


def seen_by(colours: list[str], eyes: str | None) -> np.ndarray:
    """CAM02-UCS coordinates (n, 3) of colours as those eyes see them; Machado et al. 2009 at full severity."""
    rgb = np.array([[int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)] for colour in colours])
    if eyes:
        rgb = np.clip(colorspacious.cspace_convert(rgb, {"name": "sRGB1+CVD", "cvd_type": eyes, "severity": 100}, "sRGB1"), 0, 1)
    return colorspacious.cspace_convert(rgb, "sRGB1", "CAM02-UCS")


def smallest_distance(colours: list[str], eyes: str | None) -> float:
    places = seen_by(colours, eyes)
    return min(float(np.linalg.norm(one - other)) for one, other in itertools.combinations(places, 2))


def test_the_measure_itself_sees_what_red_green_blind_eyes_confuse():
    assert smallest_distance(["#b03a2e", "#5a6e1c"], None) > 30
    assert smallest_distance(["#b03a2e", "#5a6e1c"], "deuteranomaly") < 15


@pytest.mark.parametrize("eyes", EYES)
def test_all_twelve_groups_are_told_apart(eyes):
    assert smallest_distance(list(palette.GROUP_COLOURS.values()), eyes) > 15


@pytest.mark.parametrize("eyes", EYES)
@pytest.mark.parametrize("look", [LIGHT, DARK], ids=lambda look: look.name)
def test_series_and_verdicts_are_told_apart(look: Look, eyes):
    assert smallest_distance(list(look.series), eyes) > 15
    assert smallest_distance([look.verdicts[name] for name in ("under", "may be over", "over")], eyes) > 15


@pytest.mark.parametrize("look", [LIGHT, DARK], ids=lambda look: look.name)
def test_text_and_marks_reach_the_contrast_of_wcag_aa(look: Look):
    for ground in (look.paper, look.panel):
        for text in (look.ink, look.muted, look.accent, *look.verdicts.values()):
            assert palette.contrast(text, ground) >= 4.5, (text, ground)
    for mark in (look.rule, *look.series):
        assert palette.contrast(mark, look.paper) >= 3, mark
    steps = [palette.contrast(step, look.paper) for step in look.ramp]
    assert steps == sorted(steps)


def test_letters_on_every_group_are_readable():
    for colour in palette.GROUP_COLOURS.values():
        assert palette.contrast(palette.text_on(colour), colour) >= 4.5


def test_every_group_of_the_contract_has_a_colour_and_a_mark_of_its_own():
    assert set(palette.GROUP_COLOURS) == set(palette.GROUP_MARKS) == set(ITEM_GROUPS)
    assert len(set(palette.GROUP_MARKS.values())) == len(ITEM_GROUPS)
    assert set(palette.VERDICT_SHAPES) == set(palette.VERDICTS)
    assert len(set(palette.VERDICT_SHAPES.values())) == len(palette.VERDICTS)


def test_contrast_against_a_published_pair():
    # WCAG technique G18 and its tools: #767676 is the lightest grey that reaches 4.5 : 1 on white (common practice).
    assert palette.contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)
    assert palette.contrast("#777777", "#ffffff") < 4.5
