"""From the broker to the stores: decode, convert, store, diagnose, raise alarms, publish."""
