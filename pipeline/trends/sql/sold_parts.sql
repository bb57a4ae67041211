-- Bodies sold, each in its part of time: the number of its quarter, counted from the year 0 on; or else 1 for the window that ends
-- with the newest sale, 0 for the one before.
-- needs: chosen
select
    case
        when $by_quarter then cast(extract(year from sold_on) * 4 + extract(quarter from sold_on) - 1 as integer)
        when sold_on >= cast($now_from as date) then 1
        else 0
    end as part,
    family,
    length_from_mm,
    vehicle_id,
    upgrade_id,
    list
from chosen
where sold
    and sold_on is not null
    and ($by_quarter or (sold_on >= cast($before_from as date) and sold_on < cast($now_until as date)))
