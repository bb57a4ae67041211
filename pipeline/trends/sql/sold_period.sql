-- The days of the first and the newest sale.
-- needs: chosen
select min(sold_on) as first_day, max(sold_on) as last_day from chosen where sold
