-- What the mass model said of each body when it was fitted; without rows until the first fit.
CREATE TABLE IF NOT EXISTS body_estimates (
    job_id VARCHAR, body VARCHAR, estimate_kg DOUBLE, low_kg DOUBLE, high_kg DOUBLE, standing VARCHAR, why VARCHAR
);
