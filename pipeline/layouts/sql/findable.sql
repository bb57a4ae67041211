-- Every body of each job's last revision as the job finder looks at it, counted or not.
select
    b.job_id,
    b.revision,
    b.body,
    b.kind,
    b.vehicle_id,
    b.vehicle,
    b.upgrade_id,
    b.size_class,
    b.cab,
    b.branch,
    b.status,
    b.dated_on,
    cast(extract(year from b.dated_on) as integer) as year,
    b.length_mm,
    b.width_mm,
    b.height_mm,
    coalesce(b.weighed_kg, b.cad_kg) as measured_kg,
    case when b.weighed_kg is not null then 'weighed' when b.cad_kg is not null then 'drawn' end as measured_by,
    f.family,
    b.suspect = 1 as suspect,
    b.list_short = 1 as list_short,
    b.counted,
    j.price,
    j.note
from current_bodies as b
inner join jobs as j on j.job_id = b.job_id and j.revision = b.revision
left join family_of_body as f on f.job_id = b.job_id and f.body = b.body
