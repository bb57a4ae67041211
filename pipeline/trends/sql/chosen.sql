-- Every body of ours that counts, with what its job says. The filters' where-clause is put behind it.
select
    b.job_id,
    b.revision,
    b.body,
    b.kind,
    b.length_mm,
    cast(floor(b.length_mm / $length_step_mm) * $length_step_mm as integer) as length_from_mm,
    b.vehicle_id,
    b.upgrade_id,
    b.branch,
    b.size_class,
    b.cab,
    b.status,
    b.status in ('ordered', 'delivered') as sold,
    b.dated_on,
    b.sold_on,
    cast(extract(year from b.sold_on) as varchar) || '-Q' || cast(extract(quarter from b.sold_on) as varchar) as sold_quarter,
    j.quoted_on,
    cast(extract(year from j.quoted_on) as varchar) || '-Q' || cast(extract(quarter from j.quoted_on) as varchar) as quoted_quarter,
    j.ordered_on,
    j.delivered_on,
    j.lost_on,
    j.lost_why,
    j.price,
    j.cost,
    j.quoted_h,
    j.labour_h,
    coalesce(b.weighed_kg, b.cad_kg) as measured_kg,
    f.family,
    f.mirrored
from current_bodies as b
inner join jobs as j on j.job_id = b.job_id and j.revision = b.revision
left join family_of_body as f on f.job_id = b.job_id and f.body = b.body
where b.counted
