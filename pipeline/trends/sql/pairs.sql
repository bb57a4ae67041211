-- Pairs of items in delivered bodies, a row a direction: support, confidence of b given a, lift (times as often as chance).
-- needs: delivered_sets, delivered_items
with totals as (
    select coalesce(sum(n), 0) as of_bodies from delivered_sets
),

singles as (
    select item_id, sum(n) as n from delivered_items group by item_id
),

one_way as (
    select a.item_id as item_a, b.item_id as item_b, sum(a.n) as n
    from delivered_items as a
    inner join delivered_items as b on b.items = a.items and b.item_id > a.item_id
    group by a.item_id, b.item_id
),

together as (
    select item_a, item_b, n from one_way
    union all
    select item_b as item_a, item_a as item_b, n from one_way
)

select
    t.item_a,
    t.item_b,
    t.n as bodies,
    cast(t.n as double) / totals.of_bodies as support,
    cast(t.n as double) / sa.n as confidence,
    cast(t.n as double) * totals.of_bodies / (cast(sa.n as double) * sb.n) as lift
from together as t
inner join singles as sa on sa.item_id = t.item_a
inner join singles as sb on sb.item_id = t.item_b
cross join totals
