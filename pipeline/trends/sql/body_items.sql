-- Each delivered body's items, once each.
-- needs: chosen
select distinct c.job_id, c.body, f.item_id
from chosen as c
inner join current_fitout as f on f.job_id = c.job_id and f.body = c.body
where c.status = 'delivered'
