-- The items at each place of `set_places`.
-- needs: set_places
select p.place, i.item_id
from set_places as p
inner join set_items as i on i.items = p.items
union all
select p.place, p.item_id
from set_places as p
where p.item_id is not null
