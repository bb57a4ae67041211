"""Settings of the mass model: how strongly it believes the datasheets, what it takes for an error, what it calls outside.

Prior strengths are spreads (one standard deviation) of what the workshop's own coefficient may differ by from the
datasheet or the geometry, each in kg on the reference body (the median body of its kind).
"""

from __future__ import annotations

from typing import Annotated

from msgspec import Meta, Struct, field


class MassSettings(Struct, frozen=True, forbid_unknown_fields=True):
    """How the mass model is fitted, calibrated and judged."""

    # what a body is made of before history has spoken
    edge_kg_per_m: Annotated[float, Meta(ge=0, description="profile and weld along a metre of edge, kg/m (common practice)")] = 1.5
    door_kg: Annotated[float, Meta(ge=0, description="hinges, locks, struts and seals of one side door, kg (common practice)")] = 9.0
    paint_kg_per_m2: Annotated[float, Meta(ge=0, description="paint on a square metre, kg/m² (common practice)")] = 0.3
    density_kg_m3: Annotated[
        dict[str, float],
        Meta(description="density of a sheet by the digits of its alloy, kg/m³ (Kissell & Ferry, Aluminum Structures, Table 4.3)"),
    ] = field(default_factory=lambda: {"5083": 2660.0, "5052": 2680.0, "6061": 2700.0, "5005": 2700.0})
    usual_density_kg_m3: Annotated[float, Meta(gt=0, description="density of an alloy that is not named, kg/m³")] = 2700.0
    unknown_item_kg: Annotated[float, Meta(gt=0, description="mass of an item whose datasheet and group say nothing, kg")] = 15.0

    # how strongly the datasheet and the geometry are believed (one standard deviation)
    sheet_spread: Annotated[float, Meta(gt=0, description="of the mass of sheet, as a share")] = 0.10
    edge_spread: Annotated[float, Meta(gt=0, description="of the mass of edges, as a share")] = 0.20
    frame_kg: Annotated[
        dict[str, float], Meta(description="subframe, headboard, mounts of a body by kind, beyond sheet and edges, kg (common practice)")
    ] = field(default_factory=lambda: {"canopy": 0.0, "tray": 80.0, "box": 60.0})
    frame_spread_kg: Annotated[dict[str, float], Meta(description="of that, kg")] = field(
        default_factory=lambda: {"canopy": 9.0, "tray": 40.0, "box": 40.0}
    )
    door_spread_kg: Annotated[float, Meta(gt=0, description="of the doors of the reference body, kg")] = 3.0
    class_spread_kg: Annotated[float, Meta(gt=0, description="of what a size class adds, kg")] = 4.0
    length_spread_kg: Annotated[float, Meta(gt=0, description="of a metre of length beyond sheet and edges, kg")] = 8.0
    bend_spread_kg: Annotated[float, Meta(gt=0, description="of the bend over length, kg/m²")] = 5.0
    item_spread: Annotated[float, Meta(gt=0, description="of an item's datasheet mass, as a share; 0.15 to 0.3 for poor datasheets")] = 0.10
    item_spread_least_kg: Annotated[float, Meta(gt=0, description="of an item's mass at least, kg")] = 1.5
    unknown_item_spread_kg: Annotated[float, Meta(gt=0, description="of an item without datasheet mass, kg")] = 12.0
    slope_spread_kg: Annotated[float, Meta(gt=0, description="of what a metre of body adds to an item, kg/m")] = 3.0
    uplift_spread_kg: Annotated[float, Meta(gt=0, description="of wiring, brackets, sealant on 100 kg of datasheets, kg")] = 6.0
    each_item_kg: Annotated[float, Meta(ge=0, description="of fixings that every item brings, kg")] = 1.0
    each_item_spread_kg: Annotated[float, Meta(gt=0, description="of those fixings, kg")] = 1.0
    full_spread_kg: Annotated[float, Meta(gt=0, description="of 50 kg of fit-out beyond a knot, kg")] = 2.0
    long_spread_kg: Annotated[float, Meta(gt=0, description="of 300 mm beyond the long quarter of bodies, kg")] = 4.0
    together_spread_kg: Annotated[float, Meta(gt=0, description="of what two items bring when they stand together, kg")] = 4.0
    drift_spread_kg: Annotated[
        tuple[float, float, float], Meta(description="of the yearly change of 50 kg of power, kitchen and other items, kg a year")
    ] = (2.0, 1.0, 0.5)
    drawing_bias: Annotated[float, Meta(description="what a drawing leaves out, as a share of the mass, before history")] = 0.03
    drawing_bias_spread: Annotated[float, Meta(gt=0, description="of that share")] = 0.02

    # noise and robustness
    scale_noise: Annotated[float, Meta(gt=0, description="noise of a weighed mass as a share, before history")] = 0.028
    drawing_noise: Annotated[float, Meta(gt=0, description="noise of a drawn mass as a share, before history")] = 0.020
    noise_rows: Annotated[float, Meta(gt=0, description="how many readings that is worth")] = 8.0
    unknown_step_kg: Annotated[float, Meta(gt=0, description="division of a scale that is not given, kg")] = 5.0
    cut: Annotated[float, Meta(gt=1, description="readings further off than so many standard deviations weigh nothing in the fit")] = 5.0
    flag: Annotated[float, Meta(gt=1, description="readings further off than so many standard deviations are shown to a person")] = 4.5
    passes: Annotated[int, Meta(ge=3, le=100, description="passes of the robust fit")] = 15
    alike_correlation: Annotated[float, Meta(ge=0, lt=1, description="share of the noise that bodies of one drawing have in common")] = 0.3

    # interactions and change over time
    together: Annotated[
        tuple[tuple[str, str], ...],
        Meta(description="pairs (item or group) that bring mass when they stand together, beside those of `needs`"),
    ] = ()
    find_together: Annotated[int, Meta(ge=0, description="how many further pairs may be taken from history")] = 8
    together_z: Annotated[float, Meta(gt=1, description="how many standard deviations a pair of history must stand out by")] = 3.3
    together_least: Annotated[int, Meta(ge=2, description="bodies with mass in which a pair must stand together")] = 20
    change: Annotated[
        str, Meta(pattern="^(auto|drift|decay|none)$", description="change over time: drift, decay, none, or auto (by backtest)")
    ] = "auto"
    half_life_years: Annotated[float, Meta(gt=0, description="age at which a record counts half, under decay, years")] = 3.0

    # standing
    beyond: Annotated[float, Meta(ge=0, description="share beyond the range of history from which a body is outside")] = 0.02
    few_weighed: Annotated[int, Meta(ge=1, description="weighed bodies of a kind below which its estimate is outside")] = 10
    few_records: Annotated[int, Meta(ge=1, description="records of an item below which an estimate is at the edge")] = 3
    unseen_pair: Annotated[
        float, Meta(gt=0, description="bodies in which chance alone would have put two items together, if never seen so")
    ] = 6.0

    # centre of mass
    place_fractions: Annotated[dict[str, float], Meta(description="place of a zone along the body, as a share of its length")] = field(
        default_factory=lambda: {"front": 1 / 6, "mid": 1 / 2, "rear": 5 / 6, "roof": 1 / 2, "back-wall": 1.0, "under-tray": 1 / 2}
    )
    side_fraction: Annotated[float, Meta(ge=0, le=0.5, description="place of left and right, as a share of the width from the middle")] = (
        0.28
    )
    item_place_spread_mm: Annotated[tuple[float, float], Meta(description="of an item's place, along and across, mm")] = (40.0, 25.0)
    shell_place_spread_mm: Annotated[tuple[float, float], Meta(description="of the shell's centre, along and across, mm")] = (30.0, 15.0)
    drawn_place_spread_mm: Annotated[tuple[float, float], Meta(description="of drawings' offset, along and across, mm")] = (15.0, 8.0)
    place_noise_mm: Annotated[tuple[float, float], Meta(description="noise of a measured centre before history, mm")] = (14.0, 8.0)
    place_cut: Annotated[float, Meta(gt=1, description="centres further off than so many standard deviations weigh nothing")] = 5.0
