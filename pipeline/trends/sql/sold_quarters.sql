-- Bodies sold a quarter, under each value, out of all sold in that quarter; a value that ever sold has a row in every quarter.
-- needs: part_totals, part_counts
with sold_values as (
    select distinct subject, value from part_counts
)

select
    cast(cast(floor(totals.part / 4) as integer) as varchar) || '-Q' || cast(totals.part % 4 + 1 as varchar) as quarter,
    sold_values.subject as kind,
    sold_values.value,
    coalesce(counts.n, 0) as n,
    totals.of_bodies
from part_totals as totals
cross join sold_values
left join part_counts as counts
    on counts.part = totals.part
    and counts.subject = sold_values.subject
    and counts.value = sold_values.value
