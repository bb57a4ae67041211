-- The jobs sold under each value of `$subject` (family, length or vehicle), a row a job and value, with what the whole job brought
-- and took. Jobs of one body, nearly all, say it themselves: nothing is put together or told apart for them.
-- needs: chosen, several_jobs
with valued as not materialized (
    select
        job_id,
        alone,
        case $subject
            when 'family' then cast(family as varchar)
            when 'vehicle' then vehicle_id
            when 'length'
                then cast(length_from_mm as varchar) || '-' || cast(cast(length_from_mm + $length_step_mm - 1 as integer) as varchar)
        end as value,
        price,
        cost,
        quoted_h,
        labour_h,
        measured_kg
    from chosen
    where sold
),

under as (
    select distinct job_id, value from valued where not alone and value is not null
)

select value, price, cost, quoted_h, labour_h, measured_kg as bodies_kg
from valued
where alone and value is not null
union all
select u.value, s.price, s.cost, s.quoted_h, s.labour_h, s.bodies_kg
from under as u
inner join several_jobs as s on s.job_id = u.job_id
