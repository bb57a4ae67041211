-- The layout families among bodies sold: how many, what share, between which lengths and finished masses (central 80 %).
-- needs: chosen
with sold as (
    select * from chosen where sold
),

totals as (
    select count(*) as of_bodies from sold
),

sizes as (
    select
        family,
        count(*) as bodies,
        sum(case when mirrored then 1 else 0 end) as mirrored,
        percentile_cont(0.1) within group (order by length_mm) as length_low_mm,
        percentile_cont(0.5) within group (order by length_mm) as length_mm,
        percentile_cont(0.9) within group (order by length_mm) as length_high_mm,
        count(measured_kg) as measured,
        percentile_cont(0.1) within group (order by measured_kg) as mass_low_kg,
        percentile_cont(0.5) within group (order by measured_kg) as mass_kg,
        percentile_cont(0.9) within group (order by measured_kg) as mass_high_kg
    from sold
    where family is not null
    group by family
)

select
    s.family,
    f.kind,
    f.name,
    s.bodies,
    s.mirrored,
    totals.of_bodies,
    cast(s.bodies as double) / totals.of_bodies as share,
    f.typical_job_id,
    f.typical_body,
    s.length_low_mm,
    s.length_mm,
    s.length_high_mm,
    s.measured,
    s.mass_low_kg,
    s.mass_kg,
    s.mass_high_kg
from sizes as s
inner join families as f on f.family = s.family
cross join totals
