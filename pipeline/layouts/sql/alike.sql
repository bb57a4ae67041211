-- How like a draft each counted body is: weighted Jaccard of items (quantities: what both have over what either has), and
-- that times the shorter length over the longer, none for another kind of body.
-- needs: draft_items, list_items
with sums as (
    select
        i.list,
        sum(i.qty) as qty,
        sum(case when d.qty is null then 0 else least(i.qty, d.qty) end) as shared
    from list_items as i
    left join draft_items as d on d.item_id = i.item_id
    group by i.list
),

draft_sum as (
    select coalesce(sum(qty), 0) as qty from draft_items
),

scored as (
    select
        b.job_id,
        b.body,
        b.kind,
        v.size_class,
        b.length_mm,
        b.measured_kg,
        case
            when coalesce(sums.qty, 0) + draft_sum.qty = 0 then 1.0
            else coalesce(sums.shared, 0) / (coalesce(sums.qty, 0) + draft_sum.qty - coalesce(sums.shared, 0))
        end as jaccard
    from body_facts as b
    inner join vehicles as v on v.vehicle_id = b.vehicle_id
    left join sums on sums.list = b.list
    cross join draft_sum
    where b.counted
)

select
    *,
    case when kind = $draft_kind then jaccard else 0.0 end
        * least(length_mm, $draft_length_mm) / greatest(length_mm, $draft_length_mm) as likeness
from scored
