-- Why quotes were lost, by everything a quote can be grouped by; 'not told' where nobody wrote it down.
-- needs: outcome_subjects
with lost as (
    select grouping, value, coalesce(lost_why, 'not told') as reason from outcome_subjects where status = 'lost'
),

totals as (
    select grouping, value, count(*) as of_lost from lost group by grouping, value
)

select lost.grouping, lost.value, lost.reason, count(*) as n, max(totals.of_lost) as of_lost
from lost
inner join totals on totals.grouping = lost.grouping and totals.value = lost.value
group by lost.grouping, lost.value, lost.reason
