-- Takes the terms of cuts, and the indexes by time, away.
DROP INDEX markdowns_by_time;
DROP INDEX sales_by_time;
DROP TABLE cut_terms;
