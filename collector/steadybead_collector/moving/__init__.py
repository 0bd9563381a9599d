"""Moving a shop from one pair of stores to another, checked by hash."""
