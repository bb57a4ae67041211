"""From a draft to what its sheet says: the figures of the check, in the words of a customer, and nothing of anybody else."""

from __future__ import annotations

import dataclasses
import datetime as dt

import numpy as np
import pytest
from small_edition import edition

from pipeline.answers.access import Role
from pipeline.answers.draft import Draft, DraftBody, DraftLine, DraftThing, code_of, frames_of
from pipeline.answers.sheet_words import ASSUMED
from pipeline.answers.sheets import Asked, content_of, draft_of, one_draft, sheet_content
from pipeline.errors import WrongCall
from pipeline.loads.cases import Assessed, Work
from pipeline.loads.check import Checked, Terms, check
from pipeline.loads.marks import TEXTS, Mark
from pipeline.paper.sheet import sheet_pdf
from pipeline.settings import Settings, WorkshopSettings
from pipeline.settings_loads import LimitSettings, Person, TravelLoad, VehicleSettings

pymupdf = pytest.importorskip("pymupdf")

VEHICLE = {
    "vehicle_id": "V1", "label": "Marlin dual cab", "size_class": "midsize", "cab": "dual", "seats": 5, "wheelbase_mm": 3220.0,
    "headboard_to_rear_axle_mm": 760.0, "rear_axle_to_ball_mm": 1250.0, "empty_kg": 2248.0, "empty_basis": "kerb", "empty_front_kg": 1290.0,
    "empty_rear_kg": 958.0, "tub_kg": 125.0, "gvm_kg": 3200.0, "gcm_kg": 6000.0, "front_limit_kg": 1480.0, "rear_limit_kg": 1900.0,
    "fuel": "diesel", "fuel_l": 80.0,
}  # fmt: skip
ITEMS = [{"item_id": "fridge", "label": "fridge slide", "group": "fridge", "datasheet_kg": 22.0}]
UPGRADES = [{"upgrade_id": "U1", "vehicle_id": "V1", "label": "plus 300", "gvm_kg": 3500.0, "added_kg": 0.0}]
DRAFT = Draft(
    (
        DraftBody("tray", 1800.0, 1800.0),
        DraftBody(
            "canopy", 1650.0, 1780.0, height_mm=900.0, doors=2.0, lines=(DraftLine("fridge", zone="left-front"), DraftLine("fridge", 2.0))
        ),
    ),
    vehicle_id="V1",
    things=(DraftThing("bull bar", 48.0, x_mm=-600.0),),
)
TRAVEL = TravelLoad(people=[Person(80.0, "front", "right"), Person(60.0, "front", "left")], luggage_kg=50.0)


def asked_for(draft: Draft = DRAFT, travel: TravelLoad = TRAVEL, kg=(238.0, 425.0), sd_kg: float = 10.0, **changes) -> Asked:
    con = edition(vehicles=[VEHICLE], items=ITEMS, upgrades=UPGRADES)
    drafts = frames_of([draft], con, "2026-10-30")
    n = len(draft.bodies)
    masses = np.array(kg[:n], dtype=float)
    centre = drafts.bodies["length_mm"] / 2
    cov = np.zeros((n, 3, 3))
    cov[:, 0, 0] = sd_kg**2
    cov[:, 0, 1] = cov[:, 1, 0] = sd_kg**2 * centre
    cov[:, 1, 1] = (sd_kg * centre) ** 2
    assessed = Assessed(masses, centre, np.zeros(n), cov, np.full(n, "estimate", dtype=object))
    work = Work(**{field.name: getattr(drafts, field.name) for field in dataclasses.fields(Work)})

    def checked(load: TravelLoad) -> Checked:
        return check(work, assessed, load, Terms(VehicleSettings(empty_sd_kg=0.0), LimitSettings()))

    usual = Asked(
        drafts=drafts,
        job_id="draft-1",
        found=None,
        standing=np.full(n, "inside", dtype=object),
        why=np.full(n, "", dtype=object),
        laden=checked(travel),
        empty=checked(TravelLoad(people=[], luggage_kg=0.0)),
        travel=travel,
        alike=[None] * n,
    )
    return dataclasses.replace(usual, **changes)


def content(asked: Asked, settings: Settings | None = None, name: str = ""):
    return content_of(asked, settings or Settings(), "7", dt.date(2026, 10, 30), dt.date(2026, 11, 2), name)


def test_margins_are_those_of_the_trades_reckoning():
    # common practice, no source: 2248 - 125 + 238 + 425 + 48 + 140 + 50 = 3024 of 3200 with a full tank
    told = content(asked_for())
    gvm = next(line for line in told.limits if line.limit == "gvm")
    assert (gvm.value, gvm.margin) == (pytest.approx(3024), pytest.approx(176))
    assert sum(line.kg for line in told.loads) == pytest.approx(3024)
    # without people and luggage 190 kg more
    assert told.left.kg == pytest.approx(366)
    # sd of two bodies of 10 kg each, 90 %: 1.645 times 14.1 kg either way
    assert (told.left.low_kg, told.left.high_kg) == (pytest.approx(366 - 23.26, abs=0.05), pytest.approx(366 + 23.26, abs=0.05))


def test_every_figure_of_the_check_reaches_the_paper():
    asked = asked_for()
    told = content(asked)
    with pymupdf.open(stream=sheet_pdf(told)) as document:
        text = " ".join(" ".join(page.get_text() for page in document).split())
    table = asked.laden.limits.table()
    for limit, value, margin, verdict in zip(*(table[name] for name in ("limit", "value", "margin", "verdict")), strict=True):
        line = next(line for line in told.limits if line.limit == limit)
        assert (line.value is None and np.isnan(value)) or line.value == pytest.approx(value)
        if verdict == "under" and limit in ("gvm", "front_axle", "rear_axle"):
            assert f"{margin:.0f} kg left" in text
    assert "about 366 kg" in text
    assert "bull bar 48" in text


def test_what_may_still_come_on_board_is_said_for_the_vehicle_and_its_tightest_axle():
    told = content(asked_for())
    assert told.may_add[0] == "With all that on board, about 176 kg more on the whole vehicle (GVM), or 153 kg should it come out heavy."
    assert len(told.may_add) == 2
    assert "axle" in told.may_add[1]
    heavy = content(asked_for(kg=(238.0, 725.0)))
    assert heavy.may_add[0] == "Nothing more on the whole vehicle (GVM): it is 124 kg over its rating."


def test_assumptions_begin_with_the_travel_load_and_name_what_was_not_known():
    told = content(asked_for())
    assert (
        told.assumptions[0]
        == "On board: 2 people (80 kg front right, 60 kg front left), 50 kg of luggage, no water, the tank full, no trailer."
    )
    assert "We took it that the body stands close behind the cab." in told.assumptions


def test_every_assumption_has_words_for_a_customer():
    assumed = {mark for mark, said in TEXTS.items() if said.startswith("assumed") or mark is Mark.NO_REAR_SEAT}
    assert assumed <= set(ASSUMED)


def test_the_sheet_carries_nothing_that_names_a_job_a_price_or_a_note():
    asked = asked_for()
    asked.drafts.jobs["price"][:] = 18400.0
    asked.drafts.jobs["note"][:] = "rang twice"
    asked.drafts.jobs["customer_ref"][:] = "Q. Person"
    told = content(asked)
    with pymupdf.open(stream=sheet_pdf(told)) as document:
        text = " ".join(page.get_text() for page in document)
    for secret in ("draft-1", "18400", "18 400", "rang twice", "Q. Person"):
        assert secret not in text
    shown = content(asked, Settings(workshop=WorkshopSettings(prices_for_customers=True, currency="AUD")))
    assert shown.price == "18400 AUD"


def test_names_and_places_are_those_of_the_draft():
    told = content(asked_for(dataclasses_replace(upgrade_id="U1")))
    assert (told.vehicle, told.upgrade, told.draft) == ("Marlin dual cab", "plus 300", "Tray for Marlin dual cab")
    assert content(asked_for(), name="Coastal tourer").draft == "Coastal tourer"
    canopy = told.bodies[1]
    assert canopy.heading == "Canopy, 1650 × 1780 × 900 mm"
    assert [(line.key, line.label, line.qty, line.place) for line in canopy.fitout] == [
        ("Fr1", "fridge slide", 1.0, "left front"),
        ("Fr2", "fridge slide", 2.0, "middle"),
    ]
    assert "rear axle runs 760 mm behind" in canopy.drawing.alt


def dataclasses_replace(**changes) -> Draft:
    return Draft(**{name: changes.get(name, getattr(DRAFT, name)) for name in DRAFT.__struct_fields__})


def test_the_code_is_the_one_under_which_the_draft_is_saved():
    asked = asked_for()
    again = draft_of(asked.drafts, "draft-1")
    assert again == DRAFT
    assert content(asked).code == code_of(DRAFT)
    other = dataclasses_replace(upgrade_id="U1")
    assert content(asked_for(other)).code != code_of(DRAFT)


def test_alike_bodies_are_counted_only_where_there_are_enough():
    told = content(asked_for(found=estimates(2), alike=[(37, 29), None]))
    assert told.bodies[0].stands_on == "It stands on 37 alike bodies, 29 of them weighed or drawn."
    assert told.bodies[1].stands_on.startswith("It stands on all bodies of ours")
    assert told.bodies[0].mass_kg == 238.0
    assert "centre of mass is about 900 mm" in told.bodies[0].drawing.alt


def estimates(n: int):
    from pipeline.mass.estimate import Estimates

    kg = np.array([238.0, 425.0])[:n]
    x, nothing = np.array([900.0, 825.0])[:n], np.zeros(n)
    texts = {name: np.full(n, value, dtype=object) for name, value in (("standing", "inside"), ("why", ""), ("source", "estimate"))}
    return Estimates(
        estimate_kg=kg, low_kg=kg - 20, high_kg=kg + 20, sd_kg=nothing + 12, com_x_mm=x, com_x_low_mm=x - 30, com_x_high_mm=x + 30,
        com_y_mm=nothing, com_y_low_mm=nothing - 20, com_y_high_mm=nothing + 20, cov=np.zeros((n, 3, 3)), level=0.9, **texts,
    )  # fmt: skip


def test_without_a_model_the_sheet_says_that_no_mass_is_known():
    told = content(asked_for())
    assert told.bodies[0].mass_kg is None
    assert told.bodies[0].why == "there is no mass model yet"


def test_an_unknown_draft_or_one_without_a_body_is_a_wrong_call():
    with pytest.raises(WrongCall, match="did you mean 'draft-1'"):
        content(asked_for(job_id="draft-l"))
    asked = asked_for()
    asked.drafts.bodies["job_id"][:] = "other"
    with pytest.raises(WrongCall, match="no body"):
        content(asked)


def test_one_draft_has_one_code_however_its_numbers_were_made():
    whole = Draft((DraftBody("tray", 1800, 1800, doors=2, lines=(DraftLine("fridge", float("1.0")),)),), vehicle_id="V1")
    plain = Draft((DraftBody("tray", 1800.0, 1800.0, doors=2.0, lines=(DraftLine("fridge"),)),), vehicle_id="V1")
    assert code_of(whole) == code_of(plain)


def test_one_draft_is_taken_out_of_many_at_its_last_revision():
    con = edition(vehicles=[VEHICLE], items=ITEMS, upgrades=UPGRADES)
    both = frames_of([dataclasses_replace(upgrade_id="U1"), DRAFT], con, "2026-10-30")
    alone = one_draft(both, "draft-2")
    assert alone.bodies["body"].tolist() == ["tray", "canopy"]
    assert alone.fitout["body_row"].tolist() == [1, 1]
    assert draft_of(alone, "draft-2") == DRAFT
    both.bodies["revision"][:] = ["2", "2", "2", "10"]
    assert one_draft(both, "draft-2").bodies["body"].tolist() == ["canopy"]


def test_a_sheet_without_a_store_tells_given_masses_alone():
    con = edition(vehicles=[VEHICLE], items=ITEMS, upgrades=UPGRADES)
    drafts = frames_of([DRAFT], con, "2026-10-30")
    drafts.bodies["weighed_kg"][:] = [238.0, 425.0]
    told = sheet_content(None, None, drafts, "draft-1", Settings(), TRAVEL, Role.SALES)
    assert told.left.kg == pytest.approx(366)
    assert (told.edition, told.records_to, told.dated_on) == ("none", None, dt.date(2026, 10, 30))


@pytest.mark.parametrize("role", [Role.NOBODY])
def test_whoever_may_make_no_sheet_gets_none(role):
    con = edition(vehicles=[VEHICLE], items=ITEMS)
    with pytest.raises(WrongCall, match="not for the role"):
        sheet_content(None, None, frames_of([DRAFT], con, "2026-10-30"), "draft-1", Settings(), TRAVEL, role=role)
