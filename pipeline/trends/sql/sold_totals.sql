-- All that was sold: bodies, jobs, revenue and booked hours, and of how many jobs those two are known.
-- needs: chosen, chosen_jobs
select
    count(*) as bodies,
    count(case when first_of_job then 1 end) as jobs,
    sum(case when first_of_job then price end) as revenue,
    count(case when first_of_job then price end) as jobs_priced,
    sum(case when first_of_job then labour_h end) as labour_h,
    count(case when first_of_job then labour_h end) as jobs_with_hours
from chosen_jobs
where sold
