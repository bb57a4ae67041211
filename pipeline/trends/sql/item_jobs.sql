-- The jobs sold with what the whole job brought and took, by the place (`set_places`) of what is in their bodies: a row a job of one
-- body, nearly all, under its set of items; of any other job a row under each item that one of its bodies holds.
-- needs: chosen, several_jobs, set_places
with places as (
    select s.list, p.place
    from list_sets as s
    inner join set_places as p on p.items = s.items
),

held as (
    select distinct c.job_id, i.item_id
    from chosen as c
    inner join list_sets as s on s.list = c.list
    inner join set_items as i on i.items = s.items
    where c.sold and not c.alone
)

select p.place, c.price, c.cost, c.quoted_h, c.labour_h, c.measured_kg as bodies_kg
from chosen as c
inner join places as p on p.list = c.list
where c.sold and c.alone
union all
select p.place, s.price, s.cost, s.quoted_h, s.labour_h, s.bodies_kg
from held as h
inner join several_jobs as s on s.job_id = h.job_id
inner join set_places as p on p.item_id = h.item_id
