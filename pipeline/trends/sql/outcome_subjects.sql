-- Outcomes under everything a quote can be grouped by, or by one of these alone where `$grouping` says which.
-- What is the job's counts once a job, what is a body's once a body.
-- needs: outcomes
select 'all' as grouping, 'all' as value, o.* from outcomes as o where coalesce($grouping, 'all') = 'all' and o.first_of_job
union all
select 'kind' as grouping, o.kind as value, o.* from outcomes as o where coalesce($grouping, 'kind') = 'kind'
union all
select 'family' as grouping, cast(o.family as varchar) as value, o.*
from outcomes as o
where coalesce($grouping, 'family') = 'family' and o.family is not null
union all
select 'length' as grouping, cast(o.length_from_mm as varchar) as value, o.* from outcomes as o where coalesce($grouping, 'length') = 'length'
union all
select 'vehicle' as grouping, o.vehicle_id as value, o.* from outcomes as o where coalesce($grouping, 'vehicle') = 'vehicle' and o.first_of_job
union all
select 'branch' as grouping, o.branch as value, o.*
from outcomes as o
where coalesce($grouping, 'branch') = 'branch' and o.first_of_job and o.branch is not null
union all
select 'price' as grouping, cast(cast(floor(o.price / $price_step) * $price_step as integer) as varchar) as value, o.*
from outcomes as o
where coalesce($grouping, 'price') = 'price' and o.first_of_job and o.price is not null
union all
select 'quarter' as grouping, o.quoted_quarter as value, o.*
from outcomes as o
where coalesce($grouping, 'quarter') = 'quarter' and o.first_of_job and o.quoted_on is not null
