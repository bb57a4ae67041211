-- How like a draft each counted body is.
-- needs: liked
select b.job_id, b.body, b.kind, v.size_class, b.length_mm, b.measured_kg, b.jaccard, b.likeness
from liked as b
inner join vehicles as v on v.vehicle_id = b.vehicle_id
where b.counted
