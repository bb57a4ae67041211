-- Every body of each job's last revision as the job finder looks at it, counted or not. What people call its vehicle is put beside what
-- was found: the first rows in order are then read from one table alone, which the database does without reading all of it.
select
    b.*,
    cast(extract(year from b.dated_on) as integer) as year,
    case when b.weighed then 'weighed' when b.measured_kg is not null then 'drawn' end as measured_by
from body_facts as b
