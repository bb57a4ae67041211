-- Quotes still open, with how long they have been; a row a job, by its first body.
-- needs: outcomes
select job_id, body, kind, family, branch, vehicle_id, length_mm, price, quoted_on, age_days
from outcomes
where first_of_job and not sold and status not in ('lost', 'cancelled') and quoted_on is not null
