"""The records store: append-only revisions, facts of the collector and acts of people."""
