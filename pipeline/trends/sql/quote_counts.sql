-- Quotes under everything they can be grouped by: how they came out so far, why they were lost, and the days waited for an order and
-- (of those ordered) for the handover; where it has not come, the days waited so far. A day that is not known leaves no days.
-- A lost quote keeps waiting: it is one that was never ordered, followed to the newest record like any other.
-- needs: outcome_subjects
with counts as (
    select
        grouping,
        value,
        status,
        case when status = 'lost' then lost_why end as lost_why,
        case when quoted_on is null then null when sold then greatest(order_days, 0) else age_days end as order_wait_days,
        case
            when not sold or ordered_on is null then null
            when delivered_on is not null then greatest(handover_days, 0)
            else ordered_age_days
        end as handover_wait_days,
        delivered_on is not null as handed_over,
        count(*) as n
    from outcome_subjects
    group by
        grouping,
        value,
        status,
        case when status = 'lost' then lost_why end,
        case when quoted_on is null then null when sold then greatest(order_days, 0) else age_days end,
        case
            when not sold or ordered_on is null then null
            when delivered_on is not null then greatest(handover_days, 0)
            else ordered_age_days
        end,
        delivered_on is not null
)

select
    grouping,
    value,
    case when status in ('ordered', 'delivered') then 'ordered' when status in ('lost', 'cancelled') then 'lost' else 'open' end as outcome,
    case when status = 'lost' then coalesce(lost_why, 'not told') end as reason,
    order_wait_days,
    handover_wait_days,
    handed_over,
    n
from counts
