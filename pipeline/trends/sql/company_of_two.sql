-- What a third item does where two of the draft's are: as `triples`, for those two alone.
-- needs: chosen, body_items, draft_items
with totals as (
    select count(*) as of_bodies from chosen where status = 'delivered'
),

singles as (
    select item_id, count(*) as n from body_items group by item_id
),

held as (
    select b.job_id, b.body, b.item_id
    from body_items as b
    inner join draft_items as d on d.item_id = b.item_id
),

twos as (
    select a.job_id, a.body, a.item_id as item_a, b.item_id as item_b
    from held as a
    inner join held as b on b.job_id = a.job_id and b.body = a.body and b.item_id > a.item_id
),

two_counts as (
    select item_a, item_b, count(*) as n from twos group by item_a, item_b having count(*) >= $pair_bodies
),

threes as (
    select t.item_a, t.item_b, c.item_id as item_c, count(*) as n
    from twos as t
    inner join body_items as c on c.job_id = t.job_id and c.body = t.body and c.item_id <> t.item_a and c.item_id <> t.item_b
    group by t.item_a, t.item_b, c.item_id
    having count(*) >= $pair_bodies
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
