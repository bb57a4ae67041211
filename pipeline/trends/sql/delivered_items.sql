-- The items of the sets that delivered bodies have, with how many bodies that is.
-- needs: delivered_sets
select d.items, i.item_id, d.n
from delivered_sets as d
inner join set_items as i on i.items = d.items
