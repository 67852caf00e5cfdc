DROP TABLE shelf;
DROP TABLE changes;
