-- The items of the lists that delivered bodies have, once each, with how many bodies that is.
-- needs: delivered_lists, list_items
select l.list, i.item_id, l.n
from delivered_lists as l
inner join list_items as i on i.list = l.list
