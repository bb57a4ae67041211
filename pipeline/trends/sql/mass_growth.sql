-- What each item's greater or smaller number a body adds to the mean body, by the maker's figures, window against the one before.
-- needs: chosen
with sold as (
    select list, length_mm, case when sold_on >= $now_from then 'now' else 'before' end as part
    from chosen
    where sold and sold_on >= $before_from and sold_on < $now_until
),

totals as (
    select
        sum(case when part = 'before' then 1 else 0 end) as of_before,
        sum(case when part = 'now' then 1 else 0 end) as of_now,
        avg(length_mm) as mean_length_mm
    from sold
),

lists as (
    select
        list,
        sum(case when part = 'before' then 1 else 0 end) as n_before,
        sum(case when part = 'now' then 1 else 0 end) as n_now
    from sold
    group by list
),

counts as (
    select i.item_id, sum(l.n_before * i.qty) as qty_before, sum(l.n_now * i.qty) as qty_now
    from lists as l
    inner join list_lines as i on i.list = l.list
    group by i.item_id
),

rates as (
    select
        c.item_id,
        i.label,
        cast(c.qty_before as double) / nullif(t.of_before, 0) as each_before,
        cast(c.qty_now as double) / nullif(t.of_now, 0) as each_now,
        case
            when i.datasheet_kg is not null or i.datasheet_kg_per_m is not null
                then coalesce(i.datasheet_kg, 0) + coalesce(i.datasheet_kg_per_m, 0) * t.mean_length_mm / 1000.0
        end as item_kg
    from counts as c
    inner join items as i on i.item_id = c.item_id
    cross join totals as t
)

select item_id, label, each_before, each_now, item_kg, (each_now - each_before) * item_kg as adds_kg from rates
