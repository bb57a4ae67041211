-- What jobs with a body under each value of `$subject` brought and took: medians of whole jobs sold, where the figure is known.
-- needs: pays_jobs
select
    value,
    count(*) as jobs,
    count(price) as jobs_priced,
    sum(price) as revenue,
    percentile_cont(0.5) within group (order by price) as price,
    count(price - cost) as jobs_with_cost,
    percentile_cont(0.5) within group (order by price - cost) as left_over,
    percentile_cont(0.5) within group (order by (price - cost) / nullif(labour_h, 0)) as left_over_an_hour,
    count(labour_h) as jobs_with_hours,
    percentile_cont(0.5) within group (order by labour_h) as labour_h,
    percentile_cont(0.5) within group (order by labour_h / nullif(quoted_h, 0)) as booked_to_quoted,
    percentile_cont(0.5) within group (order by labour_h / nullif(bodies_kg, 0)) as labour_h_per_kg,
    percentile_cont(0.5) within group (order by price / nullif(bodies_kg, 0)) as price_per_kg
from pays_jobs
group by value
