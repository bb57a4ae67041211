-- The sets of items numbered from 0 on, and behind them each item as a set of its own.
with sets as (
    select distinct items from set_items
)

select s.items, cast(null as varchar) as item_id, row_number() over (order by s.items) - 1 as place
from sets as s
union all
select cast(null as bigint) as items, i.item_id, (select count(*) from sets) + row_number() over (order by i.item_id) - 1 as place
from items as i
