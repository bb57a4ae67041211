-- What a third item does where two are: confidence of c given a and b (a before b in the alphabet), its support and lift.
-- needs: chosen, body_items
with totals as (
    select count(*) as of_bodies from chosen where status = 'delivered'
),

singles as (
    select item_id, count(*) as n from body_items group by item_id
),

twos as (
    select a.item_id as item_a, b.item_id as item_b, count(*) as n
    from body_items as a
    inner join body_items as b on b.job_id = a.job_id and b.body = a.body and b.item_id > a.item_id
    group by a.item_id, b.item_id
    having count(*) >= $pair_bodies
),

threes as (
    select twos.item_a, twos.item_b, c.item_id as item_c, max(twos.n) as n_two, count(*) as n
    from twos
    inner join body_items as a on a.item_id = twos.item_a
    inner join body_items as b on b.job_id = a.job_id and b.body = a.body and b.item_id = twos.item_b
    inner join body_items as c
        on c.job_id = a.job_id and c.body = a.body and c.item_id <> twos.item_a and c.item_id <> twos.item_b
    group by twos.item_a, twos.item_b, c.item_id
    having count(*) >= $pair_bodies
)

select
    t.item_a,
    t.item_b,
    t.item_c,
    t.n as bodies,
    cast(t.n as double) / totals.of_bodies as support,
    cast(t.n as double) / t.n_two as confidence,
    cast(t.n as double) * totals.of_bodies / (cast(t.n_two as double) * sc.n) as lift
from threes as t
inner join singles as sc on sc.item_id = t.item_c
cross join totals
