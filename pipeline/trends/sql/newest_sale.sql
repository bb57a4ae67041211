-- The day of the newest sale, with which the windows end.
-- needs: chosen
select max(sold_on) as day from chosen where sold
