//! From the trays of a cut to the question that is solved for them, and back.
