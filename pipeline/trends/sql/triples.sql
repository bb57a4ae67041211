-- What a third item does where two are: confidence of c given a and b (a before b in the alphabet), its support and lift.
-- needs: delivered_sets, delivered_items
with totals as (
    select coalesce(sum(n), 0) as of_bodies from delivered_sets
),

singles as (
    select item_id, sum(n) as n from delivered_items group by item_id
),

twos as (
    select a.item_id as item_a, b.item_id as item_b, sum(a.n) as n
    from delivered_items as a
    inner join delivered_items as b on b.items = a.items and b.item_id > a.item_id
    group by a.item_id, b.item_id
    having sum(a.n) >= $pair_bodies
),

sets as (
    select a.item_id as item_1, b.item_id as item_2, c.item_id as item_3, sum(a.n) as n
    from delivered_items as a
    inner join delivered_items as b on b.items = a.items and b.item_id > a.item_id
    inner join delivered_items as c on c.items = b.items and c.item_id > b.item_id
    group by a.item_id, b.item_id, c.item_id
    having sum(a.n) >= $pair_bodies
),

threes as (
    select item_1 as item_a, item_2 as item_b, item_3 as item_c, n from sets
    union all
    select item_1 as item_a, item_3 as item_b, item_2 as item_c, n from sets
    union all
    select item_2 as item_a, item_3 as item_b, item_1 as item_c, n from sets
)

select
    t.item_a,
    t.item_b,
    t.item_c,
    t.n as bodies,
    cast(t.n as double) / totals.of_bodies as support,
    cast(t.n as double) / twos.n as confidence,
    cast(t.n as double) * totals.of_bodies / (cast(twos.n as double) * sc.n) as lift
from threes as t
inner join twos on twos.item_a = t.item_a and twos.item_b = t.item_b
inner join singles as sc on sc.item_id = t.item_c
cross join totals
