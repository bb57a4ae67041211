-- Every body that can be found with its likeness to a draft: that of its items times the shorter length over the longer, none for
-- another kind of body; not reckoned for bodies that do not count.
-- needs: findable, list_likeness
select
    b.*,
    l.jaccard,
    case
        when b.counted
            then case when b.kind = $draft_kind then l.jaccard else 0.0 end
                * least(b.length_mm, $draft_length_mm) / greatest(b.length_mm, $draft_length_mm)
    end as likeness
from findable as b
left join list_likeness as l on l.list = b.list
