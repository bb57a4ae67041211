-- What was sold a month: bodies, jobs, revenue and booked hours, and of how many jobs those two are known.
-- needs: chosen
with sold as (
    select
        job_id,
        price,
        labour_h,
        cast(extract(year from sold_on) as integer) as year,
        cast(extract(month from sold_on) as integer) as month,
        row_number() over (partition by job_id order by body) as nth_body
    from chosen
    where sold and sold_on is not null
)

select
    year,
    month,
    count(*) as bodies,
    count(distinct job_id) as jobs,
    sum(case when nth_body = 1 then price end) as revenue,
    sum(case when nth_body = 1 and price is not null then 1 else 0 end) as jobs_priced,
    sum(case when nth_body = 1 then labour_h end) as labour_h,
    sum(case when nth_body = 1 and labour_h is not null then 1 else 0 end) as jobs_with_hours
from sold
group by year, month
