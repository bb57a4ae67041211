-- The draft's items with their quantities, out of two lists of equal length.
select item_id, sum(qty) as qty
from (select unnest($draft_item_ids) as item_id, unnest($draft_qtys) as qty) as lines
group by item_id
