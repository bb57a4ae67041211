-- Each value's sold bodies in the window that ends with the newest sale, and in the one before it.
-- needs: part_totals, part_counts
with totals as (
    select
        coalesce(max(case when part = 0 then of_bodies end), 0) as of_before,
        coalesce(max(case when part = 1 then of_bodies end), 0) as of_now
    from part_totals
)

select
    c.subject as kind,
    c.value,
    sum(case when c.part = 0 then c.n else 0 end) as n_before,
    max(totals.of_before) as of_before,
    sum(case when c.part = 1 then c.n else 0 end) as n_now,
    max(totals.of_now) as of_now
from part_counts as c
cross join totals
group by c.subject, c.value
