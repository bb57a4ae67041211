-- How common each item is in a family, and how many times as common as in all bodies of its kind (lift).
with members as (
    select b.job_id, b.revision, b.body, b.kind, m.family
    from current_bodies as b
    inner join family_of_body as m on m.job_id = b.job_id and m.body = b.body
    where b.counted
),

kind_sizes as (
    select kind, count(*) as bodies from members group by kind
),

family_sizes as (
    select family, kind, count(*) as bodies from members group by family, kind
),

held as (
    select distinct m.job_id, m.body, m.kind, m.family, f.item_id
    from members as m
    inner join fitout as f on f.job_id = m.job_id and f.revision = m.revision and f.body = m.body
),

in_kind as (
    select kind, item_id, count(*) as n from held group by kind, item_id
),

in_family as (
    select family, kind, item_id, count(*) as n from held group by family, kind, item_id
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
from in_family as x
inner join family_sizes as fs on fs.family = x.family and fs.kind = x.kind
inner join in_kind as k on k.kind = x.kind and k.item_id = x.item_id
inner join kind_sizes as ks on ks.kind = x.kind
inner join items as i on i.item_id = x.item_id
