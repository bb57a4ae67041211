-- Every body of each job's last revision as the job finder looks at it, counted or not.
select
    b.*,
    v.label as vehicle,
    v.size_class,
    cast(extract(year from b.dated_on) as integer) as year,
    case when b.weighed then 'weighed' when b.measured_kg is not null then 'drawn' end as measured_by
from body_facts as b
inner join vehicles as v on v.vehicle_id = b.vehicle_id
