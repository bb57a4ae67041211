-- How common each item is in a family, and how many times as common as in all bodies of its kind (lift).
-- needs: list_items
with members as (
    select kind, family, list, count(*) as n
    from body_facts
    where counted and family is not null
    group by kind, family, list
),

kind_sizes as (
    select kind, sum(n) as bodies from members group by kind
),

family_sizes as (
    select family, kind, sum(n) as bodies from members group by family, kind
),

held as (
    select m.kind, m.family, i.item_id, sum(m.n) as n
    from members as m
    inner join list_items as i on i.list = m.list
    group by m.kind, m.family, i.item_id
),

in_kind as (
    select kind, item_id, sum(n) as n from held group by kind, item_id
)

select
    x.family,
    x.item_id,
    i.label,
    i."group" as item_group,
    x.n as bodies,
    fs.bodies as of_bodies,
    cast(x.n as double) / fs.bodies as share,
    cast(x.n as double) * ks.bodies / (cast(fs.bodies as double) * k.n) as lift
from held as x
inner join family_sizes as fs on fs.family = x.family and fs.kind = x.kind
inner join in_kind as k on k.kind = x.kind and k.item_id = x.item_id
inner join kind_sizes as ks on ks.kind = x.kind
inner join items as i on i.item_id = x.item_id
