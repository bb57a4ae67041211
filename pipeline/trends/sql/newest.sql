-- The day of the newest record: what "today" means, whatever the clock says.
select max(day) as day
from (
    select max(quoted_on) as day from current_jobs
    union all
    select max(ordered_on) as day from current_jobs
    union all
    select max(delivered_on) as day from current_jobs
    union all
    select max(lost_on) as day from current_jobs
) as days
