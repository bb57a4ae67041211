-- The layout families among bodies sold: how many, what share, between which lengths and finished masses (central 80 %).
-- needs: chosen
with sizes as (
    select
        family,
        count(*) as bodies,
        sum(case when mirrored then 1 else 0 end) as mirrored,
        percentile_cont([0.1, 0.5, 0.9]) within group (order by length_mm) as lengths_mm,
        count(measured_kg) as measured,
        percentile_cont([0.1, 0.5, 0.9]) within group (order by measured_kg) as masses_kg
    from chosen
    where sold
    group by family
),

totals as (
    select sum(bodies) as of_bodies from sizes
)

select
    s.family,
    f.kind,
    f.name,
    s.bodies,
    s.mirrored,
    cast(totals.of_bodies as bigint) as of_bodies,
    cast(s.bodies as double) / totals.of_bodies as share,
    f.typical_job_id,
    f.typical_body,
    s.lengths_mm[1] as length_low_mm,
    s.lengths_mm[2] as length_mm,
    s.lengths_mm[3] as length_high_mm,
    s.measured,
    s.masses_kg[1] as mass_low_kg,
    s.masses_kg[2] as mass_kg,
    s.masses_kg[3] as mass_high_kg
from sizes as s
inner join families as f on f.family = s.family
cross join totals
