-- What jobs with a body under each value brought and took: medians of whole jobs sold, where the figure is known.
-- needs: chosen, subjects
with jobs_sold as (
    select
        job_id,
        max(price) as price,
        max(cost) as cost,
        max(quoted_h) as quoted_h,
        max(labour_h) as labour_h,
        case when count(measured_kg) = count(*) then sum(measured_kg) end as bodies_kg
    from chosen
    where sold
    group by job_id
)

select
    u.subject as kind,
    u.value,
    count(*) as jobs,
    count(s.price) as jobs_priced,
    sum(s.price) as revenue,
    percentile_cont(0.5) within group (order by s.price) as price,
    count(s.price - s.cost) as jobs_with_cost,
    percentile_cont(0.5) within group (order by s.price - s.cost) as left_over,
    percentile_cont(0.5) within group (order by (s.price - s.cost) / nullif(s.labour_h, 0)) as left_over_an_hour,
    count(s.labour_h) as jobs_with_hours,
    percentile_cont(0.5) within group (order by s.labour_h) as labour_h,
    percentile_cont(0.5) within group (order by s.labour_h / nullif(s.quoted_h, 0)) as booked_to_quoted,
    percentile_cont(0.5) within group (order by s.labour_h / nullif(s.bodies_kg, 0)) as labour_h_per_kg,
    percentile_cont(0.5) within group (order by s.price / nullif(s.bodies_kg, 0)) as price_per_kg
from subjects as u
inner join jobs_sold as s on s.job_id = u.job_id
group by u.subject, u.value
