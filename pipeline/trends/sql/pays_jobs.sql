-- The jobs sold under each value of `$subject` (family, length, vehicle or item), a row a job and value, with what the whole job
-- brought and took. Jobs of one body, nearly all, say it themselves: nothing is put together or told apart for them.
-- needs: chosen, list_items
with valued as (
    select
        job_id,
        alone,
        list,
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

of_several as (
    select
        job_id,
        max(price) as price,
        max(cost) as cost,
        max(quoted_h) as quoted_h,
        max(labour_h) as labour_h,
        case when count(measured_kg) = count(*) then sum(measured_kg) end as bodies_kg
    from valued
    where not alone
    group by job_id
),

under as (
    select distinct job_id, value from valued where not alone and $subject <> 'item' and value is not null
    union all
    select distinct v.job_id, i.item_id as value
    from valued as v
    inner join list_items as i on i.list = v.list
    where not v.alone and $subject = 'item'
)

select value, price, cost, quoted_h, labour_h, measured_kg as bodies_kg
from valued
where alone and $subject <> 'item' and value is not null
union all
select i.item_id as value, v.price, v.cost, v.quoted_h, v.labour_h, v.measured_kg as bodies_kg
from valued as v
inner join list_items as i on i.list = v.list
where v.alone and $subject = 'item'
union all
select u.value, s.price, s.cost, s.quoted_h, s.labour_h, s.bodies_kg
from under as u
inner join of_several as s on s.job_id = u.job_id
