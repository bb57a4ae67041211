-- Jobs sold of which several bodies are chosen or could be, with what the whole job brought and took.
-- needs: chosen
select
    job_id,
    max(price) as price,
    max(cost) as cost,
    max(quoted_h) as quoted_h,
    max(labour_h) as labour_h,
    case when count(measured_kg) = count(*) then sum(measured_kg) end as bodies_kg
from chosen
where sold and not alone
group by job_id
