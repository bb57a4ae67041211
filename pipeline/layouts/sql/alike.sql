-- How like a draft each counted body is: weighted Jaccard of items (quantities: what both have over what either has), and
-- that times the shorter length over the longer, none for another kind of body.
-- needs: draft_items
with held as (
    select job_id, body, item_id, sum(qty) as qty from current_fitout group by job_id, body, item_id
),

sums as (
    select job_id, body, sum(qty) as qty from held group by job_id, body
),

draft_sum as (
    select coalesce(sum(qty), 0) as qty from draft_items
),

shared as (
    select h.job_id, h.body, sum(least(h.qty, d.qty)) as qty
    from held as h
    inner join draft_items as d on d.item_id = h.item_id
    group by h.job_id, h.body
),

scored as (
    select
        b.job_id,
        b.body,
        b.kind,
        b.size_class,
        b.length_mm,
        coalesce(b.weighed_kg, b.cad_kg) as measured_kg,
        case
            when coalesce(sums.qty, 0) + draft_sum.qty = 0 then 1.0
            else coalesce(shared.qty, 0) / (coalesce(sums.qty, 0) + draft_sum.qty - coalesce(shared.qty, 0))
        end as jaccard
    from current_bodies as b
    left join sums on sums.job_id = b.job_id and sums.body = b.body
    left join shared on shared.job_id = b.job_id and shared.body = b.body
    cross join draft_sum
    where b.counted
)

select
    *,
    case when kind = $draft_kind then jaccard else 0.0 end
        * least(length_mm, $draft_length_mm) / greatest(length_mm, $draft_length_mm) as likeness
from scored
