-- All that was sold: the months together.
-- needs: sold_months
select
    cast(coalesce(sum(bodies), 0) as bigint) as bodies,
    cast(coalesce(sum(jobs), 0) as bigint) as jobs,
    sum(revenue) as revenue,
    cast(coalesce(sum(jobs_priced), 0) as bigint) as jobs_priced,
    sum(labour_h) as labour_h,
    cast(coalesce(sum(jobs_with_hours), 0) as bigint) as jobs_with_hours
from sold_months
