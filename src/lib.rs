//! Stock, remaining life and labels for a raw-fish counter; the rooms are listed here, the rules live in them.
