-- Takes the decisions of reviews away.
DROP INDEX acts_of_the_kitchen;
DROP TABLE errands;
DROP TABLE markdowns_undone;
DROP TABLE decision_trays;
DROP TABLE decisions;
