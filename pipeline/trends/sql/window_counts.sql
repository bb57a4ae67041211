-- Each value's sold bodies in the window that ends with the newest sale, and in the one before it.
-- needs: chosen, subjects
with sold as (
    select
        job_id,
        body,
        case when sold_on >= $now_from then 'now' else 'before' end as part
    from chosen
    where sold and sold_on >= $before_from and sold_on < $now_until
),

totals as (
    select
        sum(case when part = 'before' then 1 else 0 end) as of_before,
        sum(case when part = 'now' then 1 else 0 end) as of_now
    from sold
)

select
    t.subject as kind,
    t.value,
    sum(case when s.part = 'before' then 1 else 0 end) as n_before,
    max(totals.of_before) as of_before,
    sum(case when s.part = 'now' then 1 else 0 end) as n_now,
    max(totals.of_now) as of_now
from sold as s
inner join subjects as t on t.job_id = s.job_id and t.body = s.body
cross join totals
group by t.subject, t.value
