-- Items that are no part of a layout (a setting).
select unnest($left_out_items) as item_id
