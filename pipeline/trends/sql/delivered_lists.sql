-- How many delivered bodies have each list of fit-out lines.
-- needs: chosen
select list, count(*) as n
from chosen
where status = 'delivered'
group by list
