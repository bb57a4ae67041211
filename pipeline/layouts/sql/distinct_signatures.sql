-- The different signatures and how many bodies have each, with the first of those jobs by its number.
-- needs: signatures
select
    kind,
    length_class,
    signature,
    count(*) as bodies,
    min(job_id) as job_id
from signatures
group by kind, length_class, signature
