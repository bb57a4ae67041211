-- The vehicles a family is sold for.
-- needs: chosen
select c.family, c.vehicle_id, v.label, count(*) as bodies
from chosen as c
inner join vehicles as v on v.vehicle_id = c.vehicle_id
where c.sold and c.family is not null
group by c.family, c.vehicle_id, v.label
