-- How many delivered bodies have each set of items; those without any have the set 0.
-- needs: chosen
with lists as (
    select list, count(*) as n
    from chosen
    where status = 'delivered'
    group by list
)

select coalesce(s.items, 0) as items, cast(sum(l.n) as bigint) as n
from lists as l
left join list_sets as s on s.list = l.list
group by coalesce(s.items, 0)
