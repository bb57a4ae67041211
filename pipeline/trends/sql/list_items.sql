-- The items of each list of fit-out lines, once each, with their number.
select list, item_id, sum(qty) as qty
from list_lines
group by list, item_id
