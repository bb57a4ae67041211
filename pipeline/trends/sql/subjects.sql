-- What a job sold is counted under: family, items, length class, vehicle. A row a job and value.
-- needs: chosen, list_items
select distinct job_id, 'family' as subject, cast(family as varchar) as value from chosen where sold and family is not null
union all
select distinct c.job_id, 'item' as subject, i.item_id as value
from chosen as c
inner join list_items as i on i.list = c.list
where c.sold
union all
select distinct
    job_id,
    'length' as subject,
    cast(length_from_mm as varchar) || '-' || cast(cast(length_from_mm + $length_step_mm - 1 as integer) as varchar) as value
from chosen
where sold
union all
select distinct job_id, 'vehicle' as subject, vehicle_id as value from chosen where sold and vehicle_id is not null
