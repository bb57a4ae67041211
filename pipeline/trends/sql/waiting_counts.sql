-- Days waited for an order or a handover, how many waited that long, and whether it came; else they have waited so long so far.
-- A lost quote keeps waiting: it is one that was never ordered, followed to the newest record like any other.
-- needs: outcome_subjects
with waits as (
    select
        grouping,
        value,
        'order' as wait,
        case when sold then greatest(order_days, 0) else age_days end as days,
        case when sold then 1 else 0 end as came
    from outcome_subjects
    where quoted_on is not null
    union all
    select
        grouping,
        value,
        'handover' as wait,
        case when delivered_on is not null then greatest(handover_days, 0) else ordered_age_days end as days,
        case when delivered_on is not null then 1 else 0 end as came
    from outcome_subjects
    where sold and ordered_on is not null
)

select grouping, value, wait, days, came, count(*) as n
from waits
where days is not null
group by grouping, value, wait, days, came
