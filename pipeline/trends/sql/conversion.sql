-- Quotes, and how they came out so far, by everything a quote can be grouped by.
-- needs: outcome_subjects
select
    grouping,
    value,
    count(*) as quotes,
    sum(case when outcome = 'ordered' then 1 else 0 end) as ordered,
    sum(case when outcome = 'lost' then 1 else 0 end) as lost,
    sum(case when outcome = 'open' then 1 else 0 end) as open_quotes
from outcome_subjects
group by grouping, value
