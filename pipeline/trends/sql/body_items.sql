-- Each delivered body's items, once each.
-- needs: chosen
select distinct c.job_id, c.body, f.item_id
from chosen as c
inner join fitout as f on f.job_id = c.job_id and f.revision = c.revision and f.body = c.body
where c.status = 'delivered'
