-- Bodies and jobs sold, revenue and booked hours, and of how many jobs those two are known.
-- needs: chosen
with jobs_sold as (
    select job_id, count(*) as bodies, max(price) as price, max(labour_h) as labour_h from chosen where sold group by job_id
)

select
    coalesce(sum(bodies), 0) as bodies,
    count(*) as jobs,
    sum(price) as revenue,
    count(price) as jobs_priced,
    sum(labour_h) as labour_h,
    count(labour_h) as jobs_with_hours
from jobs_sold
