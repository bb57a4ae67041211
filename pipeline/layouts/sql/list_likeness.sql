-- How like a draft's items each list of fit-out lines is: weighted Jaccard (quantities: what both have over what either has).
-- Bodies share lists, so this is reckoned once for all bodies alike; list 0 has no lines.
-- needs: draft_items, list_items
with sums as (
    select
        i.list,
        sum(i.qty) as qty,
        sum(case when d.qty is null then 0 else least(i.qty, d.qty) end) as shared
    from list_items as i
    left join draft_items as d on d.item_id = i.item_id
    group by i.list
    union all
    select 0 as list, 0 as qty, 0 as shared
),

draft_sum as (
    select coalesce(sum(qty), 0) as qty from draft_items
)

select
    sums.list,
    case
        when sums.qty + draft_sum.qty = 0 then 1.0
        else sums.shared / (sums.qty + draft_sum.qty - sums.shared)
    end as jaccard
from sums
cross join draft_sum
