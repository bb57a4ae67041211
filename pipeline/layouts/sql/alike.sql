-- How like a draft each counted body is: weighted Jaccard of items (quantities: what both have over what either has), and
-- that times the shorter length over the longer, none for another kind of body.
-- needs: draft_items
with lists as (
    select f.job_id, f.revision, f.body, f.item_id, sum(f.qty) as qty, max(d.qty) as draft_qty
    from fitout as f
    left join draft_items as d on d.item_id = f.item_id
    group by f.job_id, f.revision, f.body, f.item_id
),

sums as (
    select
        job_id,
        revision,
        body,
        sum(qty) as qty,
        sum(case when draft_qty is null then 0 else least(qty, draft_qty) end) as shared
    from lists
    group by job_id, revision, body
),

draft_sum as (
    select coalesce(sum(qty), 0) as qty from draft_items
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
            else coalesce(sums.shared, 0) / (coalesce(sums.qty, 0) + draft_sum.qty - coalesce(sums.shared, 0))
        end as jaccard
    from current_bodies as b
    left join sums on sums.job_id = b.job_id and sums.revision = b.revision and sums.body = b.body
    cross join draft_sum
    where b.counted
)

select
    *,
    case when kind = $draft_kind then jaccard else 0.0 end
        * least(length_mm, $draft_length_mm) / greatest(length_mm, $draft_length_mm) as likeness
from scored
