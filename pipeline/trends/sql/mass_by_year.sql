-- Finished mass (weighed, else drawn) of bodies sold, by kind, length class and year.
-- needs: chosen
with masses as (
    select
        kind,
        length_from_mm,
        extract(year from sold_on) as year,
        count(*) as bodies,
        percentile_cont([0.1, 0.5, 0.9]) within group (order by measured_kg) as masses_kg,
        percentile_cont(0.5) within group (order by measured_kg * 1000.0 / length_mm) as kg_per_m
    from chosen
    where sold and sold_on is not null and measured_kg is not null
    group by kind, length_from_mm, extract(year from sold_on)
)

select
    kind,
    length_from_mm,
    cast(year as integer) as year,
    bodies,
    masses_kg[1] as mass_low_kg,
    masses_kg[2] as mass_kg,
    masses_kg[3] as mass_high_kg,
    kg_per_m
from masses
