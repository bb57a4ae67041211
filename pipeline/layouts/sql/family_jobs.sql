-- Jobs sold that hold a body of a family, once each; jobs of one body, nearly all, hold theirs once as they are.
-- needs: chosen
select family, job_id from chosen where sold and alone and family is not null
union all
select distinct family, job_id from chosen where sold and not alone and family is not null
