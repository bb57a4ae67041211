-- Jobs sold that hold a body of a family, once each.
-- needs: chosen
select distinct family, job_id from chosen where sold and family is not null
