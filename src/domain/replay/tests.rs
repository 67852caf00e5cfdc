//! Every row of the table.
