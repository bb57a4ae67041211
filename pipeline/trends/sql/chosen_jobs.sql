-- The bodies chosen, and of each job's the first one marked: what is the job's counts once a job.
-- needs: chosen
select c.*, true as first_of_job
from chosen as c
where c.alone
union all
select c.*, row_number() over (partition by c.job_id order by c.body) = 1 as first_of_job
from chosen as c
where not c.alone
