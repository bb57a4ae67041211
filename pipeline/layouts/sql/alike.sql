-- How like a draft each counted body is.
-- needs: liked
select job_id, body, kind, size_class, length_mm, measured_kg, jaccard, likeness
from liked
where counted
