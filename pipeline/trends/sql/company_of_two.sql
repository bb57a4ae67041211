-- What a third item does where two of the draft's are: as `triples`, for those two alone.
-- needs: delivered_sets, delivered_items, draft_items
with totals as (
    select coalesce(sum(n), 0) as of_bodies from delivered_sets
),

singles as (
    select item_id, sum(n) as n from delivered_items group by item_id
),

held as (
    select b.items, b.item_id, b.n
    from delivered_items as b
    inner join draft_items as d on d.item_id = b.item_id
),

twos as (
    select a.items, a.n, a.item_id as item_a, b.item_id as item_b
    from held as a
    inner join held as b on b.items = a.items and b.item_id > a.item_id
),

two_counts as (
    select item_a, item_b, sum(n) as n from twos group by item_a, item_b having sum(n) >= $pair_bodies
),

threes as (
    select t.item_a, t.item_b, c.item_id as item_c, sum(t.n) as n
    from twos as t
    inner join delivered_items as c on c.items = t.items and c.item_id <> t.item_a and c.item_id <> t.item_b
    group by t.item_a, t.item_b, c.item_id
    having sum(t.n) >= $pair_bodies
)

select
    t.item_a,
    t.item_b,
    t.item_c,
    t.n as bodies,
    cast(t.n as double) / totals.of_bodies as support,
    cast(t.n as double) / two.n as confidence,
    cast(t.n as double) * totals.of_bodies / (cast(two.n as double) * sc.n) as lift
from threes as t
inner join two_counts as two on two.item_a = t.item_a and two.item_b = t.item_b
inner join singles as sc on sc.item_id = t.item_c
cross join totals
