-- Takes the decisions of reviews away.
DROP TABLE errands;
DROP TABLE decision_trays;
DROP TABLE decisions;
