-- What a body is counted under: family, items, length class, vehicle, upgrade. A row a body and value.
-- needs: chosen
select job_id, body, 'family' as subject, cast(family as varchar) as value from chosen where family is not null
union all
select distinct c.job_id, c.body, 'item' as subject, f.item_id as value
from chosen as c
inner join fitout as f on f.job_id = c.job_id and f.revision = c.revision and f.body = c.body
union all
select
    job_id,
    body,
    'length' as subject,
    cast(length_from_mm as varchar) || '-' || cast(cast(length_from_mm + $length_step_mm - 1 as integer) as varchar) as value
from chosen
union all
select job_id, body, 'vehicle' as subject, vehicle_id as value from chosen where vehicle_id is not null
union all
select job_id, body, 'upgrade' as subject, upgrade_id as value from chosen where upgrade_id is not null
