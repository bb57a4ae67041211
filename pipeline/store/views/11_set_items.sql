-- The items of each set in `list_sets`, once each. Kept as a table.
CREATE OR REPLACE VIEW set_items AS
SELECT DISTINCT s.items, l.item_id
FROM (SELECT items, min(list) AS list FROM list_sets WHERE {sets} GROUP BY items) AS s
JOIN list_lines AS l ON l.list = s.list;
