-- Bodies whose length changed from one revision of a job to the next.
-- needs: revision_steps
select s.job_id, s.revision, n.body, b.length_mm as length_before_mm, n.length_mm as length_now_mm
from revision_steps as s
inner join bodies as n on n.job_id = s.job_id and n.revision = s.revision
inner join bodies as b on b.job_id = s.job_id and b.revision = s.revision_before and b.body = n.body
where n.length_mm <> b.length_mm
