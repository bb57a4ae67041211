"""Settings of layouts and trends: what counts as a layout, and when a change or a silence is worth a word."""

from __future__ import annotations

from typing import Annotated

from msgspec import Meta, Struct

Share = Annotated[float, Meta(ge=0, le=1)]


class LayoutSettings(Struct, frozen=True, forbid_unknown_fields=True):
    """How a layout is read out of fit-out lines, and how layouts are gathered into families."""

    left_out_groups: Annotated[tuple[str, ...], Meta(description="groups of items that are no part of a layout")] = ("lining",)
    left_out_items: Annotated[tuple[str, ...], Meta(description="single items that are no part of a layout, by item_id")] = ()
    small_part_kg: Annotated[
        float, Meta(ge=0, description="items whose maker's figure is at or under this mass are small parts, no part of a layout, kg")
    ] = 3.0
    length_step_mm: Annotated[float, Meta(gt=0, description="width of a length class, mm")] = 250.0
    mirrors_together: Annotated[bool, Meta(description="a layout and its mirror image are one layout")] = True
    group_weight: Annotated[float, Meta(gt=0, description="weight of a group being there at all, in the distance of two layouts")] = 1.0
    place_weight: Annotated[float, Meta(ge=0, description="weight of a group standing at one place, in the same distance")] = 1.0
    length_weight: Annotated[float, Meta(ge=0, description="weight of one length class, in the same distance")] = 0.1
    most_families: Annotated[int, Meta(ge=1, description="most families tried for a kind of body")] = 14
    family_bodies: Annotated[int, Meta(ge=1, description="bodies a layout family has at least; half of it once it has a number")] = 8
    family_share: Annotated[Share, Meta(description="share of its kind's bodies a layout family has at least, likewise")] = 0.02
    worth_silhouette: Annotated[
        float, Meta(ge=0, description="mean silhouette that more families, or another number than last edition's, must gain")
    ] = 0.02
    least_silhouette: Annotated[float, Meta(ge=-1, le=1, description="mean silhouette under which a kind of body is one family")] = 0.05
    most_signatures: Annotated[int, Meta(ge=10, description="different layouts compared with each other; more are sampled")] = 2500
    same_family: Annotated[Share, Meta(description="shared bodies, of either's, from which a family keeps its number")] = 0.3
    split_share: Annotated[Share, Meta(description="share of a family's bodies elsewhere from which a split or a merge is told")] = 0.25
    alike_length: Annotated[Share, Meta(description="alike bodies differ by no more than this share of the length")] = 0.10
    alike_jaccard: Annotated[Share, Meta(description="weighted Jaccard of items from which bodies are alike")] = 0.6
    alike_few: Annotated[int, Meta(ge=1, description="under this many alike bodies: too few")] = 5


class TrendSettings(Struct, frozen=True, forbid_unknown_fields=True):
    """When a change is a change, and a quote has gone quiet."""

    window_months: Annotated[int, Meta(ge=1, description="months compared with the same number before them")] = 12
    false_discoveries: Annotated[Share, Meta(description="share of false ones allowed among the changes told (Benjamini-Hochberg)")] = 0.05
    conversion_days: Annotated[int, Meta(ge=1, description="age of a quote by which it is told how many are ordered, days")] = 180
    price_step: Annotated[float, Meta(gt=0, description="width of a price band, in the store's currency")] = 5000.0
    quiet_quantile: Annotated[
        Share, Meta(description="an open quote is quiet once this share of its kind's orders had come by its age")
    ] = 0.9
    quiet_orders: Annotated[int, Meta(ge=1, description="orders a family needs before its own times are used for that")] = 20
    pair_bodies: Annotated[int, Meta(ge=1, description="bodies that must hold a pair or triple before anything is concluded from it")] = 5
    usual_confidence: Annotated[Share, Meta(description="share of such bodies from which an item is usual company")] = 0.6
    usual_lift: Annotated[float, Meta(ge=1, description="times as often as chance from which it is worth telling")] = 1.2
