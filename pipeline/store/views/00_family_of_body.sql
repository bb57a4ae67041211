-- Which layout family a body is of; without rows until the first fit.
CREATE TABLE IF NOT EXISTS family_of_body (job_id VARCHAR, body VARCHAR, family BIGINT, mirrored BOOLEAN, distance DOUBLE);
