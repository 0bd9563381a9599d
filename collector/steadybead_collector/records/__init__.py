"""The records store: what people and the collector wrote, append-only, each with its author."""
