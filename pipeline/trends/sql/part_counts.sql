-- Bodies sold in each part of time, under everything a body is counted under: family, items, length class, vehicle, upgrade;
-- or under one of these alone where `$subject` says which.
-- needs: sold_parts
with lists as (
    select part, list, count(*) as n from sold_parts where coalesce($subject, 'item') = 'item' group by part, list
),

sets as (
    select l.part, s.items, sum(l.n) as n
    from lists as l
    inner join list_sets as s on s.list = l.list
    group by l.part, s.items
)

select part, 'family' as subject, cast(family as varchar) as value, count(*) as n
from sold_parts
where coalesce($subject, 'family') = 'family' and family is not null
group by part, family
union all
select s.part, 'item' as subject, i.item_id as value, cast(sum(s.n) as bigint) as n
from sets as s
inner join set_items as i on i.items = s.items
group by s.part, i.item_id
union all
select
    part,
    'length' as subject,
    cast(length_from_mm as varchar) || '-' || cast(cast(length_from_mm + $length_step_mm - 1 as integer) as varchar) as value,
    count(*) as n
from sold_parts
where coalesce($subject, 'length') = 'length'
group by part, length_from_mm
union all
select part, 'vehicle' as subject, vehicle_id as value, count(*) as n
from sold_parts
where coalesce($subject, 'vehicle') = 'vehicle' and vehicle_id is not null
group by part, vehicle_id
union all
select part, 'upgrade' as subject, upgrade_id as value, count(*) as n
from sold_parts
where coalesce($subject, 'upgrade') = 'upgrade' and upgrade_id is not null
group by part, upgrade_id
