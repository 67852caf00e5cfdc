-- On which terms a cut is sold where they differ from the shop's, and the indexes by which what was sold lately is found.
-- Kept in step with migrations/sqlite by tests/migrations.rs.

CREATE TABLE cut_terms (
    cut_code TEXT NOT NULL PRIMARY KEY REFERENCES cuts (code),
    -- What a kilogram is worth in the kitchen; less than nothing where it costs.
    kitchen_cents_per_kg BIGINT CHECK (kitchen_cents_per_kg BETWEEN -10000000 AND 10000000),
    kitchen_g_per_day BIGINT CHECK (kitchen_g_per_day BETWEEN 0 AND 1000000),
    freezer_cents_per_kg BIGINT CHECK (freezer_cents_per_kg BETWEEN 0 AND 10000000),
    waste_cents_per_kg BIGINT CHECK (waste_cents_per_kg BETWEEN 0 AND 10000000),
    elasticity_permille BIGINT CHECK (elasticity_permille BETWEEN 0 AND 10000),
    units_per_hour_permille BIGINT CHECK (units_per_hour_permille BETWEEN 1 AND 1000000),
    portion_g BIGINT CHECK (portion_g BETWEEN 1 AND 10000),
    cost_cents_per_kg BIGINT CHECK (cost_cents_per_kg BETWEEN 0 AND 10000000),
    set_by TEXT NOT NULL,
    set_at BIGINT NOT NULL,
    version BIGINT NOT NULL CHECK (version > 0)
);

CREATE INDEX sales_by_time ON sales (at);
CREATE INDEX markdowns_by_time ON markdowns (at);
