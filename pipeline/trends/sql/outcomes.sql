-- How each quoted body's job came out, and after how many days; open ones are neither won nor lost.
-- needs: chosen_jobs, newest
select
    c.*,
    case when c.sold then 'ordered' when c.status in ('lost', 'cancelled') then 'lost' else 'open' end as outcome,
    cast(date_diff('day', c.quoted_on, newest.day) as integer) as age_days,
    cast(date_diff('day', c.quoted_on, c.sold_on) as integer) as order_days,
    case when c.sold then cast(date_diff('day', c.ordered_on, c.delivered_on) as integer) end as handover_days,
    case when c.sold then cast(date_diff('day', c.ordered_on, newest.day) as integer) end as ordered_age_days
from chosen_jobs as c
cross join newest
