-- Rows that are kept but want a look, as they are exported.
CREATE OR REPLACE VIEW suspect_rows AS
SELECT table_name AS "table", key, rule, why FROM suspects ORDER BY table_name, key, rule;
