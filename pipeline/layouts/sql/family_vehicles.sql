-- The vehicles a family is sold for.
-- needs: chosen
with counts as (
    select family, vehicle_id, count(*) as bodies
    from chosen
    where sold and family is not null
    group by family, vehicle_id
)

select c.family, c.vehicle_id, v.label, c.bodies
from counts as c
inner join vehicles as v on v.vehicle_id = c.vehicle_id
