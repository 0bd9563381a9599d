"""The evidence file of a weld record: made, signed, and checked without the shop's data."""
