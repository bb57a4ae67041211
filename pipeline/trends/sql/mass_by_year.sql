-- Finished mass (weighed, else drawn) of bodies sold, by kind, length class and year.
-- needs: chosen
select
    kind,
    length_from_mm,
    cast(extract(year from sold_on) as integer) as year,
    count(*) as bodies,
    percentile_cont(0.1) within group (order by measured_kg) as mass_low_kg,
    percentile_cont(0.5) within group (order by measured_kg) as mass_kg,
    percentile_cont(0.9) within group (order by measured_kg) as mass_high_kg,
    percentile_cont(0.5) within group (order by measured_kg * 1000.0 / length_mm) as kg_per_m
from chosen
where sold and sold_on is not null and measured_kg is not null
group by kind, length_from_mm, cast(extract(year from sold_on) as integer)
