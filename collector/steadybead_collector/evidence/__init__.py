"""What keeps evidence honest: the signing key, and the daily roots of all sealed readings."""
