-- Each job's revisions in their order, with the one before; only jobs that were revised, and only jobs chosen.
-- needs: chosen
with ordered as (
    select
        job_id,
        revision,
        price,
        row_number() over (partition by job_id order by length(revision), revision) as nth,
        lag(revision) over (partition by job_id order by length(revision), revision) as revision_before,
        lag(price) over (partition by job_id order by length(revision), revision) as price_before
    from jobs
    where job_id in (select job_id from chosen where revised)
)

select o.job_id, o.revision, o.revision_before, o.nth, o.price, o.price_before
from ordered as o
where o.nth > 1
