-- What an item may and may not stand beside, and whether it is retired by the newest record.
-- needs: newest
select
    i.item_id,
    i.label,
    i.not_with,
    i.instead_of,
    coalesce(i.retired_on <= newest.day, false) as retired
from items as i
cross join newest
