-- The day of the newest record: what "today" means, whatever the clock says.
select day
from newest_day
