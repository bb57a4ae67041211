-- Groups that are no part of a layout (a setting).
select unnest($left_out_groups) as group_name
