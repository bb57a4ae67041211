-- Bodies sold in each part of time.
-- needs: sold_parts
select part, count(*) as of_bodies from sold_parts group by part
