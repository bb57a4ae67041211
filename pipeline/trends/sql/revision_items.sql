-- Items whose number changed from one revision of a job to the next, by body.
-- needs: revision_steps
with held as (
    select job_id, revision, body, item_id, sum(coalesce(qty, 1)) as qty from fitout
    where job_id in (select job_id from revision_steps)
    group by job_id, revision, body, item_id
),

moved as (
    select s.job_id, s.revision, h.body, h.item_id, 0.0 as qty_before, h.qty as qty_now
    from revision_steps as s
    inner join held as h on h.job_id = s.job_id and h.revision = s.revision
    union all
    select s.job_id, s.revision, h.body, h.item_id, h.qty as qty_before, 0.0 as qty_now
    from revision_steps as s
    inner join held as h on h.job_id = s.job_id and h.revision = s.revision_before
)

select job_id, revision, body, item_id, sum(qty_before) as qty_before, sum(qty_now) as qty_now
from moved
group by job_id, revision, body, item_id
having sum(qty_before) <> sum(qty_now)
