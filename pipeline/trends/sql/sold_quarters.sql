-- Bodies sold a quarter, under each value, out of all sold in that quarter; a value that ever sold has a row in every quarter.
-- needs: chosen, subjects
with sold as (
    select job_id, body, sold_quarter from chosen where sold and sold_on is not null
),

totals as (
    select sold_quarter, count(*) as of_bodies from sold group by sold_quarter
),

counts as (
    select s.sold_quarter, t.subject, t.value, count(*) as n
    from sold as s
    inner join subjects as t on t.job_id = s.job_id and t.body = s.body
    group by s.sold_quarter, t.subject, t.value
),

sold_values as (
    select distinct subject, value from counts
)

select
    totals.sold_quarter as quarter,
    sold_values.subject as kind,
    sold_values.value,
    coalesce(counts.n, 0) as n,
    totals.of_bodies
from totals
cross join sold_values
left join counts
    on counts.sold_quarter = totals.sold_quarter
    and counts.subject = sold_values.subject
    and counts.value = sold_values.value
