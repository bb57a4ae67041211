-- Each body's layout signature: kind, length class, and its (group, side, place) set as a sorted text; and the mirror image's.
-- needs: layout_lines
with words as (
    select
        job_id,
        body,
        item_group || '@' || side || '-' || place as word,
        item_group || '@' || case side when 'left' then 'right' when 'right' then 'left' else side end || '-' || place as mirror_word
    from layout_lines
),

texts as (
    select
        job_id,
        body,
        string_agg(word, ' ' order by word) as layout,
        string_agg(mirror_word, ' ' order by mirror_word) as mirror_layout
    from words
    group by job_id, body
)

select
    b.job_id,
    b.body,
    b.kind,
    cast(floor(b.length_mm / $length_step_mm) as integer) as length_class,
    coalesce(t.layout, '') as layout,
    coalesce(t.mirror_layout, '') as mirror_layout,
    case
        when $mirrors_together and t.mirror_layout < t.layout then t.mirror_layout
        else coalesce(t.layout, '')
    end as signature,
    b.status in ('ordered', 'delivered') as sold,
    $mirrors_together and coalesce(t.mirror_layout < t.layout, false) as turned
from current_bodies as b
left join texts as t on t.job_id = b.job_id and t.body = b.body
where b.counted
