"""The vehicle's own part of what is on it: by ticket or maker's figure, what comes off, upgrade and fuel."""

from __future__ import annotations

import numpy as np

from pipeline.frames import height
from pipeline.loads.cases import Cases, Work, children, lacks, number, pick_text, text
from pipeline.loads.geometry import Geometry, fuel_density
from pipeline.loads.loading import COMES_OFF, PEOPLE_BRING, STAYS, WE_BUILD, Loading, objects
from pipeline.loads.marks import Mark, marks_at
from pipeline.loads.statics import moment_from_left_share
from pipeline.loads.tickets import ARRIVED, BARE, FINISHED, NO_TICKET, Spreads, Tickets, basis_litres, on_first, rear_share
from pipeline.loads.travel import Brought
from pipeline.settings_loads import VehicleSettings

_BASES = (
    (BARE, "own ticket, bare", Mark.BARE_TICKET),
    (ARRIVED, "own ticket, as it arrived", Mark.ARRIVED_TICKET),
    (FINISHED, "own ticket, finished", Mark.FINISHED_TICKET),
)
_FIGURES = (("kerb", Mark.KERB), ("tare", Mark.TARE), ("running-order", Mark.RUNNING_ORDER))


def vehicle(deck: Loading, cases: Cases, spots: Geometry, own: Tickets, spreads: Spreads, settings: VehicleSettings) -> None:
    """The vehicle as it stands: by its own ticket, else by the maker's figure corrected and spread as its variant's tickets were."""
    maker = own.state == NO_TICKET
    share, no_share = rear_share(cases, settings)
    mean = np.vstack([spreads.mean, np.zeros((1, 2))])[cases.vehicle]
    figure = cases["empty_kg"] + mean[:, 0]
    figure_rear = cases["empty_kg"] * share + mean[:, 1]
    ticket_rear, guessed = _ticket_rear(cases, spots, own, share)
    kg = np.where(maker, figure, own.kg)
    rear = np.where(maker, figure_rear, ticket_rear)
    x_mm = spots.rear_axle * rear / kg
    moment_y = np.where(maker | np.isnan(own.left_share), 0.0, moment_from_left_share(kg, own.left_share, spots.track))
    basis = np.full(len(cases), "maker's figure, kerb mass assumed", dtype=object)
    for name, mark in _FIGURES:
        chosen = maker & (cases["empty_basis"] == name)
        basis[chosen] = f"maker's {name.replace('-', ' ')} figure"
        deck.mark(marks_at(chosen, mark, len(cases)))
    for state, label, mark in _BASES:
        chosen = own.state == state
        basis[chosen] = [f"{label}: {one}" for one in own.label[chosen]]
        deck.mark(marks_at(chosen, mark, len(cases)))
    deck.mark(marks_at(maker & lacks(cases["empty_basis"]), Mark.BASIS_UNKNOWN, len(cases)))
    deck.mark(marks_at(np.isnan(kg), Mark.NO_EMPTY, len(cases)))
    deck.mark(marks_at(np.where(maker, no_share, guessed), Mark.SPLIT, len(cases)))
    deck.mark(marks_at(np.isnan(spots.rear_axle), Mark.NO_WHEELBASE, len(cases)))
    deck.mark(np.where(maker, 0, own.marks))
    deck.every(STAYS, kg, x_mm, "vehicle", basis, moment_y / kg)
    _vehicle_cov(deck, cases, spots, own, spreads, x_mm, settings)


def _ticket_rear(cases: Cases, spots: Geometry, own: Tickets, share: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Rear axle of the vehicle on the ticket; from the maker's split where the ticket has no axles, and whether that is a guess."""
    unread = np.isnan(own.rear_kg)
    tub = np.where(own.state == BARE, np.nan_to_num(cases["tub_kg"]), 0.0)
    tub_rear = np.where(tub == 0, 0.0, tub * spots.tub / spots.rear_axle)
    by_maker = own.kg * (cases["empty_kg"] * share - tub_rear) / (cases["empty_kg"] - tub)
    guess = unread & (np.isnan(cases["empty_rear_kg"]) | (own.state == FINISHED))
    return np.where(unread, by_maker, own.rear_kg), guess


def _vehicle_cov(
    deck: Loading, cases: Cases, spots: Geometry, own: Tickets, spreads: Spreads, x_mm: np.ndarray, settings: VehicleSettings
) -> None:
    maker = own.state == NO_TICKET
    of_variant = np.concatenate([spreads.cov, np.full((1, 2, 2), np.nan)])[cases.vehicle]
    known = maker & ~np.isnan(of_variant[:, 0, 0])
    deck.mark(marks_at(known, Mark.VARIANT_SPREAD, len(cases)) | marks_at(maker & ~known, Mark.COMMON_SPREAD, len(cases)))
    at = np.nan_to_num(x_mm / spots.rear_axle)
    sd2 = settings.empty_sd_kg**2
    unread = np.isnan(own.rear_kg)
    total = np.where(maker, np.where(known, of_variant[:, 0, 0], sd2), own.var_kg)
    both = np.where(maker, np.where(known, of_variant[:, 0, 1], sd2 * at), np.where(unread, own.var_kg * at, own.cov_kg))
    rear = np.where(maker, np.where(known, of_variant[:, 1, 1], sd2 * at**2), np.where(unread, own.var_kg * at**2, own.var_rear_kg))
    length = np.nan_to_num(spots.rear_axle)
    deck.cov[:, 0, 0] += total
    deck.cov[:, 0, 1] += both * length
    deck.cov[:, 1, 0] += both * length
    deck.cov[:, 1, 1] += rear * length**2


def lines_on_vehicle(deck: Loading, work: Work, cases: Cases, spots: Geometry, own: Tickets) -> None:
    """What bolts to the chassis; what a ticket already weighed counts as nothing."""
    line, case = children(work.job_of_part, cases.job)
    was_on, guessed = on_first(work)
    state = own.state[case]
    weighed = (state == FINISHED) | ((state != NO_TICKET) & was_on[line])
    kg = np.where(weighed, 0.0, number(work.on_vehicle, "kg")[line])
    x_mm = number(work.on_vehicle, "x_mm")[line]
    lost = np.isnan(x_mm) & (kg != 0)
    deck.mark(marks_at(lost, Mark.LINE_PLACE, len(line)), case)
    deck.mark(marks_at(guessed[line] & (state != NO_TICKET) & (state != FINISHED), Mark.LINE_FIRST, len(line)), case)
    x_mm = np.where(np.isnan(x_mm), spots.rear_axle[case], x_mm)
    y_mm = np.nan_to_num(number(work.on_vehicle, "y_mm"))[line]
    by = text(work.on_vehicle, "put_on_by")[line]
    ours = by == "workshop"
    label, basis = text(work.on_vehicle, "label")[line], np.full(len(line), "as listed", dtype=object)
    deck.some(STAYS, case[~ours], kg[~ours], x_mm[~ours], y_mm[~ours], label[~ours], basis[~ours])
    group = WE_BUILD
    deck.some(group, case[ours], kg[ours], x_mm[ours], y_mm[ours], label[ours], basis[ours])


def what_comes_off(deck: Loading, cases: Cases, spots: Geometry, own: Tickets, settings: VehicleSettings) -> None:
    """Factory tub, and the driver of a mass in running order."""
    tub_on = (own.state == NO_TICKET) | (own.state == ARRIVED)
    tub = np.where(tub_on, cases["tub_kg"], 0.0)
    unknown = np.isnan(tub)
    tub = np.nan_to_num(tub)
    deck.mark(marks_at(unknown, Mark.TUB_UNKNOWN, len(cases)) | np.where(tub != 0, spots.marks["tub"], 0))
    deck.every(COMES_OFF, -tub, spots.tub, "factory tub", "maker's figure")
    driver = np.where((own.state == NO_TICKET) & (cases["empty_basis"] == "running-order"), settings.driver_kg, 0.0)
    deck.mark(np.where(driver != 0, spots.marks["front_seat"], 0))
    deck.every(COMES_OFF, -driver, spots.front_seat, "driver in the maker's figure", "mass in running order")


def upgrade(deck: Loading, work: Work, cases: Cases, spots: Geometry, own: Tickets) -> None:
    """What the upgrade itself weighs."""
    has = (cases.upgrade >= 0) & (own.state != FINISHED)
    kg = np.where(has, cases["added_kg"], 0.0)
    deck.mark(marks_at(np.isnan(kg), Mark.UPGRADE_UNKNOWN, len(cases)))
    kg = np.nan_to_num(kg)
    deck.mark(np.where(kg != 0, spots.marks["upgrade"], 0))
    names = objects([f"upgrade: {one}" for one in text(work.upgrades, "label")], height(work.upgrades))
    deck.every(WE_BUILD, kg, spots.upgrade, pick_text(names, cases.upgrade), "as listed")


def fuel(deck: Loading, cases: Cases, spots: Geometry, own: Tickets, load: Brought, settings: VehicleSettings) -> None:
    """Fuel of the travel load against what is in the vehicle's mass."""
    density, kind_marks = fuel_density(cases, settings)
    inside = np.where(own.state == NO_TICKET, basis_litres(cases, settings), own.litres)
    litres = np.asarray(load.fuel_fraction) * cases["fuel_l"] - inside
    unknown = np.isnan(litres)
    kg = np.nan_to_num(litres) * density
    var = np.where(own.state == NO_TICKET, 0.0, np.nan_to_num(own.litres_var)) * density**2
    deck.mark(marks_at(unknown, Mark.TANK_UNKNOWN, len(cases)))
    deck.mark(np.where((kg != 0) | (var != 0), spots.marks["tank"] | kind_marks, 0))
    deck.every(PEOPLE_BRING, kg, spots.tank, "fuel, against what is in the vehicle's mass", "by the travel load")
    deck.vary(var, spots.tank)
