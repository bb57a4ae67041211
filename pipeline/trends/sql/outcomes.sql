-- Each quoted body's job with the days its order and handover took, or has waited so far.
-- needs: chosen_jobs, newest
select
    c.*,
    cast(date_diff('day', c.quoted_on, newest.day) as integer) as age_days,
    cast(date_diff('day', c.quoted_on, c.sold_on) as integer) as order_days,
    case when c.sold then cast(date_diff('day', c.ordered_on, c.delivered_on) as integer) end as handover_days,
    case when c.sold then cast(date_diff('day', c.ordered_on, newest.day) as integer) end as ordered_age_days
from chosen_jobs as c
cross join newest
