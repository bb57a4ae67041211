-- Jobs sold of several bodies, once under each family of theirs.
-- needs: chosen
select distinct family, job_id from chosen where sold and not alone and family is not null
