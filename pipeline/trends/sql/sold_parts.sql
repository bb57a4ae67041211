-- Bodies sold, each in its part of time: its quarter, or else the window that ends with the newest sale (`now`) or the one `before`.
-- needs: chosen
select
    case
        when $by_quarter then sold_quarter
        when sold_on >= cast($now_from as date) then 'now'
        else 'before'
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
