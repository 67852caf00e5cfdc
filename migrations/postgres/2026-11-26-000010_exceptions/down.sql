DROP TABLE return_lines;
DROP TABLE exception_findings;
DROP TABLE exceptions;
DROP TABLE replayed_lines;
DROP TABLE replayed_sales;
